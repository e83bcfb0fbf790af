package state_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/state"
	"lightwell/collector/state/pgtest"
)

var (
	ctx  = context.Background()
	noon = time.Date(2026, 3, 1, 12, 0, 0, 123456789, time.UTC)
)

// A place is where a test keeps its state, in one engine; open may be called
// again after Close.
type place struct {
	folder string
	dsn    collector.Secret
}

func (p place) config() state.Config { return state.Config{Folder: p.folder, DSN: p.dsn} }

func (p place) open(t testing.TB) *state.Store {
	t.Helper()
	s, err := state.Open(ctx, p.config(), nil)
	require.NoError(t, err)
	return s
}

// onBoth runs a test on both engines, each time in an empty place.
func onBoth(t *testing.T, test func(t *testing.T, p place)) {
	t.Helper()
	t.Run("sqlite", func(t *testing.T) { test(t, place{folder: t.TempDir()}) })
	t.Run("postgres", func(t *testing.T) { test(t, place{folder: t.TempDir(), dsn: pgtest.Start(t).Database()}) })
}

func opened(t testing.TB, p place) *state.Store {
	t.Helper()
	s := p.open(t)
	t.Cleanup(func() { s.Close() })
	return s
}

func change(seq uint64, alarm string) state.ChangeRow {
	return state.ChangeRow{
		Seq: seq, AlarmID: alarm, Site: "ridge", Kind: "raised", Operator: "kim", From: "192.0.2.7", Text: "seen",
		Time: noon.Add(time.Duration(seq) * time.Second), Body: []byte(fmt.Sprintf(`{"seq": %d}`, seq)),
	}
}

func message(endpoint, alarm string, n int) state.OutboxRow {
	return state.OutboxRow{
		Endpoint: endpoint, ID: fmt.Sprint(alarm, "-", n), AlarmID: alarm, Type: "raised", ContentType: "application/json",
		Body: []byte{0, 0xff, '{'}, Created: noon.Add(time.Duration(n) * time.Second), State: state.Pending, Next: noon,
	}
}

func alarm(id string, version uint64) state.AlarmRow {
	return state.AlarmRow{ID: id, Site: "ridge", Version: version, Body: []byte(fmt.Sprintf(`{"id":%q,"text":"Strøm"}`, id))}
}

func TestARoundIsReadBack(t *testing.T) {
	onBoth(t, func(t *testing.T, p place) {
		s := p.open(t)
		next, err := s.NextSeq(ctx)
		require.NoError(t, err)
		require.EqualValues(t, 1, next)
		told := message("noc", "a", 1)
		told.Seq = 1
		require.NoError(t, s.Commit(ctx, state.Batch{
			Site: "ridge", Alarms: []state.AlarmRow{alarm("a", 1), alarm("b", 2)}, Changes: []state.ChangeRow{change(1, "a"), change(2, "b")},
			Evidence: []state.EvidenceRow{{Key: "x", Body: []byte(`1`)}, {Key: "y", Body: []byte(`2`)}}, Outbox: []state.OutboxRow{told},
		}))
		require.NoError(t, s.Commit(ctx, state.Batch{
			Site: "ridge", Alarms: []state.AlarmRow{alarm("a", 3)}, Purged: []string{"b"}, Changes: []state.ChangeRow{change(3, "a"), change(4, "b")},
			Evidence: []state.EvidenceRow{{Key: "x", Body: []byte(`3`)}}, EvidenceGone: []string{"y"},
		}))
		require.NoError(t, s.Close())

		s = opened(t, p)
		alarms, err := s.Alarms(ctx)
		require.NoError(t, err)
		require.Equal(t, []state.AlarmRow{alarm("a", 3)}, alarms)
		evidence, err := s.Evidence(ctx)
		require.NoError(t, err)
		require.Equal(t, []state.EvidenceRow{{Key: "x", Body: []byte(`3`)}}, evidence)
		changes, err := s.Changes(ctx, state.Filter{})
		require.NoError(t, err)
		require.Len(t, changes, 4)
		newest := change(4, "b")
		newest.Entry = 4
		require.Equal(t, newest, changes[0])
		list, err := s.ListOutbox(ctx, "noc", "", 0)
		require.NoError(t, err)
		require.Equal(t, []state.OutboxRow{told}, list)
		next, err = s.NextSeq(ctx)
		require.NoError(t, err)
		require.EqualValues(t, 5, next)
	})
}
