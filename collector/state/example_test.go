package state_test

import (
	"context"
	"fmt"
	"os"
	"time"

	"lightwell/collector/state"
)

func ExampleOpen() {
	folder, err := os.MkdirTemp("", "state-")
	if err != nil {
		fmt.Println(err)
		return
	}
	defer os.RemoveAll(folder)
	ctx := context.Background()
	s, err := state.Open(ctx, state.Config{Folder: folder}, nil)
	if err != nil {
		fmt.Println(err)
		return
	}
	defer s.Close()
	seq, err := s.NextSeq(ctx)
	if err != nil {
		fmt.Println(err)
		return
	}
	err = s.Commit(ctx, state.Batch{
		Site:    "ridge",
		Alarms:  []state.AlarmRow{{ID: "k3", Site: "ridge", Version: seq, Body: []byte(`{"text":"no light"}`)}},
		Changes: []state.ChangeRow{{Seq: seq, AlarmID: "k3", Site: "ridge", Kind: "raised", Time: time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)}},
		Outbox:  []state.OutboxRow{{Endpoint: "noc", ID: "k3-1", AlarmID: "k3", Seq: seq, State: state.Pending, Body: []byte(`{}`)}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	log, err := s.Changes(ctx, state.Filter{Alarm: "k3"})
	fmt.Println(s.Engine(), log[0].Seq, log[0].Kind, log[0].Time.Format(time.RFC3339), err)
	// Output: sqlite 1 raised 2026-03-01T12:00:00Z <nil>
}
