package visit_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// killed copies the data folder as a killed process leaves it: the database
// with its write-ahead log, never closed.
func killed(t testing.TB, s *scene) string {
	folder := t.TempDir()
	files, err := filepath.Glob(filepath.Join(s.folder, "state.db*"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, f := range append(files, filepath.Join(s.folder, "lock")) {
		if strings.HasSuffix(f, "-shm") { // its content belongs to the process
			continue
		}
		data, err := os.ReadFile(f)
		require.NoError(t, err)
		require.NoError(t, os.WriteFile(filepath.Join(folder, filepath.Base(f)), data, 0o600))
	}
	old := s.state
	t.Cleanup(func() { old.Close() })
	return folder
}
