package state_test

import (
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/state"
)

func open(t *testing.T, path string) *state.Dir {
	t.Helper()
	d, err := state.OpenDir(path)
	require.NoError(t, err)
	t.Cleanup(func() { d.Close() })
	return d
}

func TestSaveAndLoad(t *testing.T) {
	path := filepath.Join(t.TempDir(), "deep", "data")
	d := open(t, path)
	var got map[string]int
	found, err := d.Load("alarms", &got)
	require.NoError(t, err)
	require.False(t, found)
	require.NoError(t, d.Save("alarms", map[string]int{"a": 1}))
	require.NoError(t, d.Save("alarms", map[string]int{"b": 2}))
	require.NoError(t, d.Close())

	again := open(t, path)
	found, err = again.Load("alarms", &got)
	require.NoError(t, err)
	require.True(t, found)
	require.Equal(t, map[string]int{"b": 2}, got)
	info, err := os.Stat(filepath.Join(path, "alarms.json"))
	require.NoError(t, err)
	require.Zero(t, info.Mode().Perm()&0o077, "only the owner reads it")
}

func TestDirOneProcessAFolder(t *testing.T) {
	path := t.TempDir()
	d := open(t, path)
	_, err := state.OpenDir(path)
	require.ErrorIs(t, err, state.ErrInUse)
	require.NoError(t, d.Close())
	open(t, path)
}

func TestDamagedDocumentIsRefused(t *testing.T) {
	path := t.TempDir()
	d := open(t, path)
	require.NoError(t, os.WriteFile(filepath.Join(path, "alarms.json"), []byte(`{"a":`), 0o600))
	var got map[string]int
	_, err := d.Load("alarms", &got)
	require.ErrorContains(t, err, "alarms.json is damaged")
	require.ErrorContains(t, err, "move the file away")
}

func TestFailedSaveKeepsTheOldDocument(t *testing.T) {
	path := t.TempDir()
	d := open(t, path)
	require.NoError(t, d.Save("alarms", 1))
	require.Error(t, d.Save("alarms", make(chan int)), "cannot be written as JSON")
	var got int
	found, err := d.Load("alarms", &got)
	require.NoError(t, err)
	require.True(t, found)
	require.Equal(t, 1, got)
	left, err := filepath.Glob(filepath.Join(path, "*.new-*"))
	require.NoError(t, err)
	require.Empty(t, left)
}

func TestNamesStayInTheFolder(t *testing.T) {
	d := open(t, t.TempDir())
	for _, name := range []string{"", "../x", "a/b", "A", "a.json"} {
		require.Error(t, d.Save(name, 1), "%q", name)
		_, err := d.Load(name, new(int))
		require.Error(t, err, "%q", name)
	}
}

func TestConcurrentUse(t *testing.T) {
	d := open(t, t.TempDir())
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			for range 10 {
				if err := d.Save("alarms", []int{i, i, i}); err != nil {
					t.Error(err)
				}
				var got []int
				if found, err := d.Load("alarms", &got); err != nil || !found || got[0] != got[2] {
					t.Errorf("torn: %v %v %v", got, found, err)
				}
			}
		})
	}
	wg.Wait()
}

func BenchmarkSave(b *testing.B) {
	d, err := state.OpenDir(b.TempDir())
	require.NoError(b, err)
	defer d.Close()
	doc := make([]float64, 10_000)
	b.ReportAllocs()
	for b.Loop() {
		require.NoError(b, d.Save("baselines", doc))
	}
}
