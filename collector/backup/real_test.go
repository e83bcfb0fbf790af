package backup_test

import (
	"context"
	"fmt"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/backup"
	"lightwell/collector/history"
	"lightwell/collector/need"
	"lightwell/collector/state"
)

// TestWhileRunning backs up a state and a history that are being written,
// and opens what comes back.
func TestWhileRunning(t *testing.T) {
	ctx := t.Context()
	data := t.TempDir()
	st, err := state.Open(ctx, state.Config{Folder: data}, zap.NewNop())
	require.NoError(t, err)
	hist, err := history.Open(history.Default(filepath.Join(data, "history")), zap.NewNop())
	require.NoError(t, err)
	begun := time.Now().Add(-2 * time.Hour).UTC().Truncate(time.Second)
	rx := collector.Point{Quantity: collector.OpticalReceivePower}
	read := func(h *history.Store) []history.Series {
		series, err := h.Query(ctx, history.Query{Unit: "room", From: begun.Add(-time.Minute), To: begun.Add(2 * time.Hour)})
		require.NoError(t, err)
		return series
	}

	running, stop := context.WithCancel(context.Background())
	ended := make(chan error, 2)
	go func() { ended <- hist.Run(running) }()
	const readings = 1000
	for i := range readings {
		at := begun.Add(time.Duration(i) * 5 * time.Second)
		hist.Append(collector.Poll{Unit: "room", Started: at, Readings: []collector.Reading{{Unit: "room", Point: rx, Value: -3 - float64(i)/1000, Taken: at}}})
	}
	require.Eventually(t, func() bool { s := read(hist); return len(s) == 1 && len(s[0].Samples) == readings }, 10*time.Second, 10*time.Millisecond)
	written := make(chan struct{})
	go func() {
		for i := 0; running.Err() == nil; i++ {
			if err := st.AppendAudit(context.Background(), state.AuditRow{Time: time.Now(), Who: "test", What: "line", Detail: fmt.Sprint(i)}); err != nil {
				ended <- err
				return
			}
			if i == 20 {
				close(written)
			}
		}
		ended <- nil
	}()
	<-written
	path := filepath.Join(t.TempDir(), "a.tar.zst")
	_, err = backup.Create(ctx, path, backup.Sources{State: st.Backup, History: hist.Snapshot, Data: data}, now)
	require.NoError(t, err)
	before := read(hist)
	stop()
	require.NoError(t, <-ended)
	require.NoError(t, <-ended)
	all, err := st.Changes(ctx, state.Filter{Limit: 1_000_000})
	require.NoError(t, err)
	require.NoError(t, hist.Close())
	require.NoError(t, st.Close())

	folder := filepath.Join(t.TempDir(), "data")
	_, err = backup.Restore(ctx, path, folder)
	require.NoError(t, err)
	st, err = state.Open(ctx, state.Config{Folder: folder}, zap.NewNop())
	require.NoError(t, err)
	defer st.Close()
	lines, err := st.Changes(ctx, state.Filter{Limit: 1_000_000})
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(lines), 20, "what was written before is in it")
	require.Equal(t, all[len(all)-len(lines):], lines, "as of one moment: no line is missing before the newest")
	require.NoError(t, st.AppendAudit(ctx, state.AuditRow{Time: time.Now(), Who: "test", What: "goes on"}))
	hist, err = history.Open(history.Default(filepath.Join(folder, "history")), zap.NewNop())
	require.NoError(t, err)
	require.Equal(t, before, read(hist))
	require.NoError(t, hist.Close())
}

// TestOtherTools: an archive is what its name says.
func TestOtherTools(t *testing.T) {
	unzip, tar := need.Program(t, "zstd"), need.Program(t, "tar")
	path := made(t, sources(t))
	plain := filepath.Join(t.TempDir(), "a.tar")
	out, err := exec.Command(unzip, "-d", "-o", plain, path).CombinedOutput()
	require.NoError(t, err, string(out))
	out, err = exec.Command(tar, "-tf", plain).CombinedOutput()
	require.NoError(t, err, string(out))
	require.Equal(t, "manifest.json", strings.SplitN(string(out), "\n", 2)[0])
	for name := range kept {
		require.Contains(t, string(out), name)
	}
}
