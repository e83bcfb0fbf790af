package main

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/cmd/exit"
	"lightwell/collector/backup"
)

// TestBackupCommand waits for a daemon, here one of three answers, and says
// how the backup went.
func TestBackupCommand(t *testing.T) {
	day := time.Date(2026, 11, 25, 2, 15, 0, 0, time.UTC)
	old := backup.Archive{Name: "lightwell-20261124T021500Z.tar.zst", Created: day.Add(-24 * time.Hour), Size: 5000}
	fresh := backup.Archive{Name: "lightwell-20261125T021500Z-asked.tar.zst", Created: day, Size: 1_500_000, Asked: true}
	before := backup.Status{Folder: "/archives", Archives: []backup.Archive{old}, Next: day}
	for _, tt := range []struct {
		name      string
		after     backup.Status
		args      []string
		want, err string
	}{
		{"made", backup.Status{Folder: "/archives", Archives: []backup.Archive{fresh, old}}, nil, "/archives/lightwell-20261125T021500Z-asked.tar.zst  1.5 MB\n", ""},
		{"failed", backup.Status{Folder: "/archives", Archives: []backup.Archive{old}, Fault: "disk full", FaultAt: day}, nil, "", "the daemon could not make the backup: disk full"},
		{"gone", before, nil, "", "the daemon stopped before the backup was made"},
		{"list", before, []string{"--list"}, "/archives/lightwell-20261124T021500Z.tar.zst  5.0 kB\nnext on schedule: 2026-11-25 02:15:00 UTC\n", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var asked, looked atomic.Int64
			server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
				now := before
				switch {
				case r.Method == http.MethodPost:
					asked.Add(1)
					now.Running = true
				case asked.Load() > 0 && looked.Add(1) > 1:
					now = tt.after
				case asked.Load() > 0:
					now.Running = true
				}
				_ = json.NewEncoder(w).Encode(now)
			}))
			defer server.Close()
			out, _, err := typed(t.Context(), append([]string{"backup", "--server", server.URL}, tt.args...)...)
			require.Equal(t, tt.want, out)
			if tt.err != "" {
				require.EqualError(t, err, tt.err)
				return
			}
			require.NoError(t, err)
		})
	}
}

func TestRestoreCommand(t *testing.T) {
	ctx := context.Background()
	archive, folder := filepath.Join(t.TempDir(), "a.tar.zst"), filepath.Join(t.TempDir(), "data")
	state := func(_ context.Context, path string) error { return os.WriteFile(path, []byte("alarms"), 0o600) }
	_, err := backup.Create(ctx, archive, backup.Sources{State: state, Data: t.TempDir()}, time.Now())
	require.NoError(t, err)

	out, _, err := typed(ctx, "restore", "--check", archive)
	require.NoError(t, err)
	require.Contains(t, out, "1 files, 6 bytes, checked")
	_, _, err = typed(ctx, "restore", archive)
	var usage exit.UsageError
	require.True(t, errors.As(err, &usage), "a folder or --check")
	out, _, err = typed(ctx, "restore", archive, folder)
	require.NoError(t, err)
	require.Contains(t, out, "restored into "+folder)
	_, _, err = typed(ctx, "restore", archive, folder)
	require.ErrorIs(t, err, backup.ErrNotEmpty)

	data, err := os.ReadFile(archive)
	require.NoError(t, err)
	data[len(data)/2] ^= 1
	require.NoError(t, os.WriteFile(archive, data, 0o600))
	_, _, err = typed(ctx, "restore", archive, folder+"-2")
	require.ErrorIs(t, err, backup.ErrDamaged)
	require.NoDirExists(t, folder+"-2")
}
