package backup_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/backup"
)

// nightly is 02:15 UTC.
func nightly(t *testing.T) collector.Schedule {
	s, err := collector.ParseSchedule("15 2 * * *", time.UTC)
	require.NoError(t, err)
	return s
}

// running runs a Keeper and returns what ends it.
func running(t *testing.T, k *backup.Keeper) (stop func()) {
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- k.Run(ctx) }()
	return func() {
		cancel()
		require.NoError(t, <-ended)
	}
}

// pass lets time go by in a bubble, until nothing happens any more.
func pass(d time.Duration) {
	<-time.After(d)
	synctest.Wait()
}

func names(t *testing.T, k *backup.Keeper) (out []string) {
	t.Helper()
	s, err := k.Status()
	require.NoError(t, err)
	for _, a := range s.Archives {
		out = append(out, a.Name)
	}
	return out
}

// The clock of a bubble begins at 2000-01-01 00:00 UTC.
func TestNightly(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		cfg := backup.Config{Folder: filepath.Join(t.TempDir(), "backups"), Schedule: nightly(t), Keep: 2}
		k := backup.NewKeeper(cfg, sources(t), zap.NewNop())
		stop := running(t, k)
		pass(2 * time.Hour)
		require.Empty(t, names(t, k), "not at the start")
		s, err := k.Status()
		require.NoError(t, err)
		require.Equal(t, "2000-01-01T02:15:00Z", s.Next.Format(time.RFC3339))
		pass(16 * time.Minute)
		require.Equal(t, []string{"lightwell-20000101T021500Z.tar.zst"}, names(t, k))
		require.NoError(t, k.Ask())
		synctest.Wait()
		pass(2 * 24 * time.Hour)
		require.Equal(t, []string{"lightwell-20000103T021500Z.tar.zst", "lightwell-20000102T021500Z.tar.zst", "lightwell-20000101T021600Z-asked.tar.zst"}, names(t, k),
			"two nights are kept, and what was asked for")
		_, err = backup.Verify(t.Context(), filepath.Join(cfg.Folder, "lightwell-20000102T021500Z.tar.zst"))
		require.NoError(t, err)
		stop()

		pass(36 * time.Hour) // a night is missed
		next := backup.NewKeeper(cfg, sources(t), zap.NewNop())
		stop = running(t, next)
		synctest.Wait()
		pass(time.Second)
		require.Contains(t, names(t, next), "lightwell-20000104T141600Z.tar.zst", "what was missed is done at the start")
		stop()
	})
}

func TestFailedNights(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := sources(t)
		var full atomic.Bool
		full.Store(true)
		state := src.State
		tries := 0
		src.State = func(ctx context.Context, path string) error {
			if tries++; full.Load() {
				return errors.New("disk full")
			}
			return state(ctx, path)
		}
		folder := t.TempDir()
		require.NoError(t, os.WriteFile(filepath.Join(folder, "lightwell-19991231T021500Z.tar.zst"), nil, 0o600))
		require.NoError(t, os.WriteFile(filepath.Join(folder, "lightwell-19990101T021500Z.tar.zst.partial"), nil, 0o600))
		require.NoError(t, os.WriteFile(filepath.Join(folder, "letter.txt"), nil, 0o600))
		k := backup.NewKeeper(backup.Config{Folder: folder, Schedule: nightly(t), Keep: 1}, src, zap.NewNop())
		stop := running(t, k)
		defer stop()
		pass(5 * time.Hour)
		require.Equal(t, 3, tries, "again every hour")
		require.Equal(t, []string{"lightwell-19991231T021500Z.tar.zst"}, names(t, k), "the old one stays until there is a new one")
		s, err := k.Status()
		require.NoError(t, err)
		require.Contains(t, s.Fault, "disk full")
		full.Store(false)
		pass(time.Hour)
		s, err = k.Status()
		require.NoError(t, err)
		require.Empty(t, s.Fault)
		require.Equal(t, []string{"lightwell-20000101T051500Z.tar.zst"}, names(t, k))
		require.FileExists(t, filepath.Join(folder, "letter.txt"), "nothing of others is touched")
		require.NoFileExists(t, filepath.Join(folder, "lightwell-19990101T021500Z.tar.zst.partial"))
	})
}

func TestOneAtATime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		src := sources(t)
		state, open := src.State, make(chan struct{})
		src.State = func(ctx context.Context, path string) error {
			select {
			case <-open:
			case <-ctx.Done():
				return ctx.Err()
			}
			return state(ctx, path)
		}
		k := backup.NewKeeper(backup.Config{Folder: t.TempDir()}, src, zap.NewNop())
		stop := running(t, k)
		require.NoError(t, k.Ask())
		synctest.Wait()
		require.NoError(t, k.Ask(), "one may wait")
		require.ErrorIs(t, k.Ask(), backup.ErrRunning)
		s, err := k.Status()
		require.NoError(t, err)
		require.True(t, s.Running)
		open <- struct{}{}
		open <- struct{}{}
		synctest.Wait()
		require.Equal(t, []string{"lightwell-20000101T000001Z-asked.tar.zst", "lightwell-20000101T000000Z-asked.tar.zst"}, names(t, k), "two in one second")
		require.NoError(t, k.Ask())
		synctest.Wait()
		stop() // gives it up
		require.Len(t, names(t, k), 2)
		s, err = k.Status()
		require.NoError(t, err)
		require.Empty(t, s.Fault, "that is no failure")
	})
}
