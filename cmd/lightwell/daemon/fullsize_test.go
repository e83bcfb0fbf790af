package daemon_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/collector/state"
)

// fullSize measures the start after a kill at the size that the daemon is
// made for; it takes minutes:
//
//	go test ./cmd/lightwell/daemon -run TestStartAtFullSize -full-size -timeout 30m -v
var fullSize = flag.Bool("full-size", false, "measure the start with 100,000 units and a million changes")

const (
	fullUnits   = 100_000
	fullSites   = 2_000
	fullChanges = 1_000_000
	fullAlarms  = 20_000
)

func TestStartAtFullSize(t *testing.T) {
	if !*fullSize {
		t.Skip("run it with -full-size")
	}
	folder := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(folder, "fleet.yaml"), []byte(fleetOf(fullUnits, fullSites, "@every 5m")), 0o600))
	fillState(t, filepath.Join(folder, "data"))
	for _, after := range []string{"the state was filled", "kill -9"} {
		took := startAndKill(t, folder)
		t.Logf("ready %s after the start of the process, after %s", took.Round(10*time.Millisecond), after)
		if after == "kill -9" {
			require.Less(t, took, 10*time.Second)
		}
	}
}

// fillState writes a log of changes and the alarms that they leave.
func fillState(t *testing.T, folder string) {
	ctx := context.Background()
	store, err := state.Open(ctx, state.Config{Folder: folder}, zap.NewNop())
	require.NoError(t, err)
	defer func() { require.NoError(t, store.Close()) }()
	const step = 2000
	at := time.Now().Add(-30 * 24 * time.Hour)
	for from := 0; from < fullChanges; from += step {
		var b state.Batch
		for i := from; i < from+step; i++ {
			a := fullAlarm(i%fullAlarms, at)
			a.Version = uint64(i + 1)
			c := alarms.Change{Alarm: a, Kind: alarms.TextChanged}
			body, err := json.Marshal(c.Brief())
			require.NoError(t, err)
			b.Changes = append(b.Changes, state.ChangeRow{Seq: a.Version, AlarmID: a.ID, Site: a.Site, Kind: string(c.Kind), Time: at, Body: body})
			if i >= fullChanges-fullAlarms {
				row, err := json.Marshal(a)
				require.NoError(t, err)
				b.Alarms = append(b.Alarms, state.AlarmRow{ID: a.ID, Site: a.Site, Version: a.Version, Body: row})
			}
		}
		require.NoError(t, store.Commit(ctx, b))
	}
}

// fullAlarm is a cleared alarm of a supply with a full history.
func fullAlarm(i int, at time.Time) alarms.Alarm {
	key := alarms.Key{Resource: "unit/" + unitName(i) + "/supply_state/b", Type: "supply-redundancy-lost"}
	a := alarms.Alarm{Key: key, ID: alarms.NewID(key), Site: fmt.Sprintf("site-%d", i%fullSites), Severity: alarms.Minor, Cleared: true,
		Text: "supply b has failed; the unit runs on supply a alone", Created: at, LastRaised: at, LastChanged: at, Operator: alarms.OperatorNone}
	for range alarms.MaxStatusChanges {
		a.Changes = append(a.Changes, alarms.StatusChange{Time: at, Severity: alarms.Minor, Text: a.Text})
	}
	return a
}

// startAndKill returns how long a daemon took until it said that it is ready.
func startAndKill(t *testing.T, folder string) time.Duration {
	require.NoError(t, os.RemoveAll(filepath.Join(folder, "url")))
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), victimFolder+"="+folder, victimReceiver+"=http://127.0.0.1:1/0")
	var out bytes.Buffer
	cmd.Stderr = &out
	began := time.Now()
	require.NoError(t, cmd.Start())
	defer func() {
		require.NoError(t, cmd.Process.Kill())
		_ = cmd.Wait() // killed
	}()
	require.Eventually(t, func() bool {
		url, err := os.ReadFile(filepath.Join(folder, "url"))
		if err != nil {
			return false
		}
		resp, err := http.Get(string(url) + "/readyz")
		if err != nil {
			return false
		}
		resp.Body.Close()
		return resp.StatusCode == http.StatusOK
	}, 2*time.Minute, 20*time.Millisecond, "%s", &out)
	took := time.Since(began)
	http.DefaultClient.CloseIdleConnections()
	if status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", cmd.Process.Pid)); err == nil {
		for line := range strings.Lines(string(status)) {
			if strings.HasPrefix(line, "VmRSS") {
				t.Log(strings.Join(strings.Fields(line), " "))
			}
		}
	}
	return took
}
