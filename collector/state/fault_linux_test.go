package state_test

import (
	"errors"
	"os"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/collector/state"
	"lightwell/collector/state/pgtest"
)

// disk mounts a small disk in memory, which only root may.
func disk(t *testing.T, size string) string {
	t.Helper()
	folder, err := os.MkdirTemp("", "disk-") // t.TempDir is closed to other users
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, os.Remove(folder)) })
	err = syscall.Mount("none", folder, "tmpfs", 0, "size="+size)
	if errors.Is(err, syscall.EPERM) {
		t.Skip("mounting a disk needs root")
	}
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(folder, syscall.MNT_DETACH)) })
	return folder
}

func remount(t *testing.T, folder string, flags uintptr) {
	t.Helper()
	require.NoError(t, syscall.Mount("none", folder, "tmpfs", syscall.MS_REMOUNT|flags, "size=2m"))
}

func TestDiskFull(t *testing.T) {
	p := place{folder: disk(t, "2m")}
	s := p.open(t)
	require.NoError(t, s.Commit(ctx, round(1, 30)))
	seq := uint64(31)
	var err error
	for ; err == nil && seq < 100_000; seq += 30 {
		err = s.Commit(ctx, round(seq, 30))
	}
	seq -= 30
	require.ErrorIs(t, err, state.ErrFull)
	require.ErrorContains(t, err, filepath.Join(p.folder, "state.db"))
	require.ErrorIs(t, s.Commit(ctx, round(seq, 300)), state.ErrFull, "still")
	requireWhole(t, s, seq)
	require.NoError(t, syscall.Mount("none", p.folder, "tmpfs", syscall.MS_REMOUNT, "size=8m"))
	require.NoError(t, s.Commit(ctx, round(seq, 300)), "goes on when there is space")
	require.NoError(t, s.Close())
	requireWhole(t, opened(t, p), seq+300)
}

func TestOpenOnAFullDisk(t *testing.T) {
	folder := disk(t, "2m")
	require.Error(t, os.WriteFile(filepath.Join(folder, "other"), make([]byte, 4<<20), 0o600))
	_, err := state.Open(ctx, state.Config{Folder: folder}, nil)
	require.ErrorIs(t, err, state.ErrFull)
}

// A limit on the size of files is met by anybody, also without root.
func TestFileSizeLimit(t *testing.T) {
	p := place{folder: t.TempDir()}
	s := p.open(t)
	require.NoError(t, s.Commit(ctx, round(1, 300)))
	var was syscall.Rlimit
	require.NoError(t, syscall.Getrlimit(syscall.RLIMIT_FSIZE, &was))
	limit := was
	limit.Cur = 1 << 20
	require.NoError(t, syscall.Setrlimit(syscall.RLIMIT_FSIZE, &limit))
	err := s.Commit(ctx, round(301, 1500))
	again := s.Commit(ctx, round(301, 1500))
	require.NoError(t, syscall.Setrlimit(syscall.RLIMIT_FSIZE, &was))
	require.ErrorContains(t, err, "state.db")
	require.ErrorContains(t, again, "state.db")
	requireWhole(t, s, 301)
	require.NoError(t, s.Commit(ctx, round(301, 1500)))
	require.NoError(t, s.Close())
	requireWhole(t, opened(t, p), 1801)
}

func TestFolderReadOnly(t *testing.T) {
	p := place{folder: disk(t, "2m")}
	require.NoError(t, p.open(t).Close())
	remount(t, p.folder, syscall.MS_RDONLY)
	_, err := state.Open(ctx, p.config(), nil)
	require.ErrorIs(t, err, syscall.EROFS)
	require.ErrorContains(t, err, p.folder)
	remount(t, p.folder, 0)
	s := opened(t, p)
	require.NoError(t, s.Commit(ctx, round(1, 3)))
}

func TestDatabaseDiskFull(t *testing.T) {
	folder := disk(t, "128m")
	server := pgtest.StartOn(t, folder)
	p := place{folder: t.TempDir(), dsn: server.Database()}
	s := opened(t, p)
	require.NoError(t, s.Commit(ctx, round(1, 300)))
	rest := filepath.Join(folder, "rest")
	require.ErrorIs(t, os.WriteFile(rest, make([]byte, 128<<20), 0o600), syscall.ENOSPC)
	seq := uint64(301)
	var err error
	for ; err == nil && seq < 100_000; seq += 300 {
		err = s.Commit(ctx, round(seq, 300))
	}
	seq -= 300
	require.ErrorIs(t, err, state.ErrFull)
	require.ErrorContains(t, err, "free some on its server")
	requireWhole(t, s, seq)
	require.NoError(t, os.Remove(rest))
	require.NoError(t, s.Commit(ctx, round(seq, 300)), "goes on when there is space")
	requireWhole(t, s, seq+300)
}

// TestCloseFreesTheFolderAtOnce: another program may be being started, with a
// copy of all open files until it runs.
func TestCloseFreesTheFolderAtOnce(t *testing.T) {
	folder := t.TempDir()
	s, err := state.Open(t.Context(), state.Config{Folder: folder}, zap.NewNop())
	require.NoError(t, err)
	open, err := os.ReadDir("/proc/self/fd")
	require.NoError(t, err)
	copied := -1
	for _, f := range open {
		if at, err := os.Readlink("/proc/self/fd/" + f.Name()); err == nil && at == filepath.Join(folder, "lock") {
			number, err := strconv.Atoi(f.Name())
			require.NoError(t, err)
			copied, err = syscall.Dup(number)
			require.NoError(t, err)
		}
	}
	require.Positive(t, copied, "the lock is an open file")
	defer syscall.Close(copied)
	require.NoError(t, s.Close())
	s, err = state.Open(t.Context(), state.Config{Folder: folder}, zap.NewNop())
	require.NoError(t, err)
	require.NoError(t, s.Close())
}
