package daemon_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/collector"
	"lightwell/collector/history"
	"lightwell/collector/state"
)

// fullSize measures the start after a kill at the size that the daemon is
// made for; it takes minutes:
//
//	go test ./cmd/lightwell/daemon -run TestStartAtFullSize -full-size -timeout 30m -v
var fullSize = flag.Bool("full-size", false, "measure the start with 100,000 units, a million changes and 30 days of history of 2,000 units")

// pastDays makes a shorter run; figures of disk space need the whole month.
var pastDays = flag.Int("history-days", 30, "days of history for -full-size")

const (
	fullUnits   = 100_000
	fullSites   = 2_000
	fullChanges = 1_000_000
	fullAlarms  = 20_000

	pastUnits = 2_000
	pastStep  = 5 * time.Minute
)

func TestStartAtFullSize(t *testing.T) {
	if !*fullSize {
		t.Skip("run it with -full-size")
	}
	folder := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(folder, "fleet.yaml"), []byte(fleetOf(fullUnits, fullSites, "@every 5m")), 0o600))
	fillState(t, filepath.Join(folder, "data"))
	t.Logf("state on disk: %d B a change, alarms included", sizeOf(t, filepath.Join(folder, "data"))/fullChanges)
	fillHistory(t, filepath.Join(folder, "data", "history"))
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

// fillHistory writes a month of readings, as polls every five minutes would
// have, with their hourly sums, and tells what they take on disk.
func fillHistory(t *testing.T, folder string) {
	s, err := history.Open(history.Default(folder), zap.NewNop())
	require.NoError(t, err)
	begun, end := time.Now(), time.Now().Truncate(time.Hour)
	first := end.AddDate(0, 0, -*pastDays)
	readings := 0
	for at := first; at.Before(end); at = at.Add(pastStep) {
		polls := make([]collector.Poll, pastUnits)
		for i := range polls {
			polls[i] = pastPoll(i, at)
			readings += len(polls[i].Readings)
		}
		require.NoError(t, s.Write(polls...))
		if at.Minute() == 0 {
			require.NoError(t, s.RollUp(t.Context(), at))
		}
	}
	require.Zero(t, s.Stats().Late+s.Stats().Ahead+s.Stats().Twice)
	require.NoError(t, s.Close())
	raw, hourly := sizeOf(t, filepath.Join(folder, "raw")), sizeOf(t, filepath.Join(folder, "hourly"))
	perYear := 365.0 / float64(*pastDays) / pastUnits
	t.Logf("%d readings in %s: %d MB, %.1f B each; hourly sums %d MB; a unit with %d points and year: %.2f MB of readings, %.2f MB of hours",
		readings, time.Since(begun).Round(time.Second), raw>>20, float64(raw)/float64(readings), hourly>>20,
		len(pastPoints), float64(raw)*perYear/1e6, float64(hourly)*perYear/1e6)
}

// pastPoints are those of a unit with two supplies.
var pastPoints = []string{
	"optical_receive_power", "optical_transmit_power", "laser_bias", "temperature", "rf_input_level", "rf_output_level",
	"supply_voltage/a", "supply_voltage/b", "supply_state/a", "supply_state/b", "laser_state", "optical_receive_state", "uptime",
}

// pastPoll has noise of two hundredths, in steps of one hundredth, where a
// value is measured.
func pastPoll(unit int, at time.Time) collector.Poll {
	id := unitName(unit)
	p := collector.Poll{Unit: id, Started: at}
	for i, name := range pastPoints {
		point, err := collector.ParsePoint(name)
		if err != nil {
			panic(err)
		}
		value := steady[point.Quantity]
		switch {
		case i < 8:
			value = math.Round((value+0.02*rand.NormFloat64())*100) / 100
		case point.Quantity == collector.Uptime:
			value = float64(at.Unix() % 1_000_000)
		}
		p.Readings = append(p.Readings, collector.Reading{Unit: id, Point: point, Value: value, Taken: at.Add(time.Duration(unit%300) * time.Millisecond)})
	}
	return p
}

func sizeOf(t *testing.T, folder string) (bytes int64) {
	require.NoError(t, filepath.WalkDir(folder, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		info, err := d.Info()
		if err == nil {
			bytes += info.Size()
		}
		return err
	}))
	return bytes
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

// processorTime returns what a process has used; on a machine that does other
// work it says more than the clock.
func processorTime(t *testing.T, pid int) time.Duration {
	line, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	require.NoError(t, err)
	fields := strings.Fields(string(line[strings.LastIndexByte(string(line), ')')+1:]))
	var ticks time.Duration
	for _, f := range fields[11:13] { // of user and of system, in hundredths of a second
		n, err := strconv.Atoi(f)
		require.NoError(t, err)
		ticks += time.Duration(n)
	}
	return ticks * 10 * time.Millisecond
}

// TestMemoryOf10000Units tells what a daemon takes that has polled so many
// units for some two minutes, with the history of their readings.
func TestMemoryOf10000Units(t *testing.T) {
	if !*fullSize {
		t.Skip("run it with -full-size")
	}
	folder := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(folder, "fleet.yaml"), []byte(fleetOf(10_000, 500, "@every 1m")), 0o600))
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), victimFolder+"="+folder, victimReceiver+"=http://127.0.0.1:1/0")
	require.NoError(t, cmd.Start())
	<-time.After(150 * time.Second)
	resident(t, cmd.Process.Pid)
	t.Logf("processor time %s", processorTime(t, cmd.Process.Pid))
	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait() // killed
}

// resident logs the memory of a process.
func resident(t *testing.T, pid int) {
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	require.NoError(t, err)
	for line := range strings.Lines(string(status)) {
		if strings.HasPrefix(line, "VmRSS") {
			t.Log(strings.Join(strings.Fields(line), " "))
		}
	}
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
	t.Logf("processor time %s", processorTime(t, cmd.Process.Pid))
	http.DefaultClient.CloseIdleConnections()
	resident(t, cmd.Process.Pid)
	return took
}
