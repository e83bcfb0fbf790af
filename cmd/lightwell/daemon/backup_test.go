package daemon_test

import (
	"encoding/json"
	"net/http"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/baseline"
	"lightwell/collector/backup"
	"lightwell/collector/plant"
)

// TestBackupAndRestore takes a backup of a running daemon by its API, loses
// the data folder, and goes on with what the archive holds.
func TestBackupAndRestore(t *testing.T) {
	t.Parallel()
	q := newQuay(t)
	q.start()
	q.commission(quayUnits...)
	lost := q.inject(plant.Fault{Kind: "supply-lost", Unit: "room-1", Port: "b"})
	const resource = "supply-redundancy-lost unit/room-1/supply_state/b"
	q.saw("raised minor " + resource)

	status, text := q.answer("POST", "/api/v1/backup", "")
	require.Equal(t, http.StatusAccepted, status, text)
	var made backup.Status
	require.NoError(t, json.Unmarshal([]byte(text), &made))
	require.True(t, made.Running)
	q.eventually("the archive is there", func() bool {
		made = backup.Status{}
		q.get("/api/v1/backups", &made)
		return !made.Running
	})
	require.Empty(t, made.Fault)
	require.Len(t, made.Archives, 1)
	require.True(t, made.Archives[0].Asked)
	require.Contains(t, q.logKinds(), "backup by local from 127.0.0.1")
	q.stop()
	before := len(q.webhooks())

	folder := filepath.Join(t.TempDir(), "elsewhere")
	m, err := backup.Restore(t.Context(), filepath.Join(made.Folder, made.Archives[0].Name), folder)
	require.NoError(t, err)
	require.True(t, m.State)
	q.cfg.Data = folder
	q.start()
	for _, u := range quayUnits {
		require.Equal(t, baseline.Accepted, q.daemon.Book().State(u))
	}
	require.NoError(t, q.plant.Repair(lost, q.plant.PlantTime(time.Now())))
	q.saw("cleared minor " + resource)
	require.Equal(t, before+1, len(q.webhooks()), "the alarm is not raised twice: %v", q.webhooks())
}
