package history_test

import (
	"bufio"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/collector/history"
	"lightwell/collector/need"
)

// childFolder names the variable that makes the test program a writer.
const childFolder = "LIGHTWELL_HISTORY_CHILD"

// writeUntilKilled writes readings, and prints the number of each that is
// written.
func writeUntilKilled(folder string) {
	s, err := history.Open(history.Default(folder), zap.NewNop())
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	begin := time.Now().Add(-6 * time.Hour).Truncate(time.Hour)
	for i := 0; ; i++ {
		at := begin.Add(time.Duration(i) * time.Second)
		if i%10 == 9 { // one in ten comes late
			at = at.Add(-time.Hour - time.Millisecond)
		}
		if err := s.Write(poll(reading(light, at, float64(i)))); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
		fmt.Println(i)
	}
}

// After kill -9 every reading whose write had returned is there.
func TestKillLosesNothing(t *testing.T) {
	for round := range 3 {
		folder := t.TempDir()
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), childFolder+"="+folder)
		out, err := cmd.StdoutPipe()
		require.NoError(t, err)
		require.NoError(t, cmd.Start())
		last, enough := -1, 1000+700*round
		for lines := bufio.NewScanner(out); lines.Scan(); {
			n, err := strconv.Atoi(lines.Text())
			require.NoError(t, err, lines.Text())
			if last = n; n == enough {
				require.NoError(t, cmd.Process.Kill())
			}
		}
		require.Error(t, cmd.Wait())
		require.GreaterOrEqual(t, last, enough)

		s := open(t, folder)
		seen := map[int]bool{}
		for _, sample := range ask(t, s, light, time.Now().Add(-48*time.Hour), time.Now(), 0) {
			seen[int(sample.Value)] = true
		}
		for i := range last + 1 {
			require.True(t, seen[i], "reading %d of %d", i, last)
		}
	}
}

// A log torn by a power cut costs its last record, not the start.
func TestTornLog(t *testing.T) {
	folder := t.TempDir()
	s := open(t, folder)
	at := lastHour()
	for i := range 50 {
		write(t, s, light, at.Add(time.Duration(i)*time.Second), time.Second, float64(i))
	}
	require.NoError(t, s.Close())
	segments, err := filepath.Glob(filepath.Join(folder, "raw", "wal", "0*"))
	require.NoError(t, err)
	newest := segments[len(segments)-1]
	data, err := os.ReadFile(newest)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(newest, data[:len(strings.TrimRight(string(data), "\x00"))-3], 0o600))

	s = open(t, folder)
	require.GreaterOrEqual(t, len(ask(t, s, light, at, at.Add(time.Hour), 0)), 49)
	write(t, s, light, at.Add(10*time.Minute), time.Second, 7)
	require.NotEmpty(t, ask(t, s, light, at.Add(10*time.Minute), at.Add(time.Hour), 0))
}

// small mounts a file system of 24 MB; only root can, so others skip.
func small(t *testing.T) string {
	t.Helper()
	folder := t.TempDir()
	if err := syscall.Mount("tmpfs", folder, "tmpfs", 0, "size=24m"); err != nil {
		t.Skipf("a small file system cannot be mounted here: %v", err)
	}
	t.Cleanup(func() { require.NoError(t, syscall.Unmount(folder, syscall.MNT_DETACH)) })
	return folder
}

func TestReadOnlyFolder(t *testing.T) {
	folder := small(t)
	require.NoError(t, syscall.Mount("", folder, "", syscall.MS_REMOUNT|syscall.MS_RDONLY, ""))
	_, err := history.Open(history.Default(folder), zap.NewNop())
	require.ErrorIs(t, err, syscall.EROFS)
	require.ErrorContains(t, err, "make the folder writable")
}

func TestDiskFullAndBack(t *testing.T) {
	folder := small(t)
	s := open(t, filepath.Join(folder, "history"), func(c *history.Config) { c.DiskStop = 1 })
	filler := filepath.Join(folder, "filler")
	at := lastHour()
	write(t, s, light, at, time.Second, 1)
	fill(t, filler)
	require.Eventually(t, func() bool { // the page of the log that is begun may still have room
		at = at.Add(time.Second)
		return errors.Is(s.Write(poll(reading(light, at, 2))), syscall.ENOSPC)
	}, 20*time.Second, time.Microsecond)
	require.NotZero(t, s.Stats().Lost)
	require.NoError(t, os.Remove(filler))
	at = at.Add(time.Minute)
	write(t, s, light, at, time.Second, 3)
	require.NoError(t, s.Close())

	s = open(t, filepath.Join(folder, "history"))
	got := ask(t, s, light, lastHour(), time.Now(), 0)
	require.Equal(t, 1.0, got[0].Value, "what was written before is there")
	require.Equal(t, one(at, 3), got[len(got)-1], "and what was written after")
}

// fill writes a file until the disk is full.
func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	require.NoError(t, err)
	for err == nil {
		_, err = f.Write(make([]byte, 4096))
	}
	require.ErrorIs(t, err, syscall.ENOSPC)
	require.NoError(t, f.Close())
}

func TestWritingStopsBeforeTheDiskIsFull(t *testing.T) {
	folder := small(t)
	s := open(t, filepath.Join(folder, "history"), func(c *history.Config) { c.DiskStop = 0.5 })
	at := lastHour()
	write(t, s, light, at, time.Second, 1)
	filler := filepath.Join(folder, "filler")
	require.NoError(t, os.WriteFile(filler, make([]byte, 14<<20), 0o600))
	s.WatchDisk()
	require.ErrorIs(t, s.Write(poll(reading(light, at.Add(time.Second), 2))), history.ErrFull)
	require.True(t, s.Stats().Full)
	require.NoError(t, os.Remove(filler))
	s.WatchDisk()
	write(t, s, light, at.Add(2*time.Second), time.Second, 3)
	require.Len(t, ask(t, s, light, at, at.Add(time.Hour), 0), 2)
}

// When the kernel makes the disk read-only, the history ends and the process
// goes on; what was synced is there after the repair.
func TestDiskTurnsReadOnly(t *testing.T) {
	folder, image := t.TempDir(), filepath.Join(t.TempDir(), "disk")
	require.NoError(t, os.WriteFile(image, nil, 0o600))
	require.NoError(t, os.Truncate(image, 64<<20))
	require.NoError(t, exec.Command(need.Program(t, "mkfs.ext4"), "-q", "-F", image).Run())
	if out, err := exec.Command("mount", "-o", "loop", image, folder).CombinedOutput(); err != nil {
		t.Skipf("mounting a disk needs root and a loop device: %v: %s", err, out)
	}
	t.Cleanup(func() { require.NoError(t, exec.Command("umount", "--lazy", folder).Run()) })
	data := filepath.Join(folder, "history")
	s := open(t, data)
	at := lastHour()
	for i := range 300 { // more than one chunk, so that one has to be written
		write(t, s, light, at.Add(time.Duration(i)*time.Second), time.Second, 1)
	}
	s.WatchHealth()
	require.Len(t, ask(t, s, light, at, at.Add(time.Hour), 0), 300, "a sound disk changes nothing")
	require.NoError(t, s.Sync())
	require.NoError(t, exec.Command("mount", "-o", "remount,abort", folder).Run())
	s.WatchHealth()
	s.WatchHealth()
	require.ErrorIs(t, s.Write(poll(reading(light, at.Add(time.Minute), 2))), history.ErrAbandoned)
	_, err := s.Query(t.Context(), history.Query{Unit: "u1", From: at, To: at.Add(time.Hour)})
	require.ErrorIs(t, err, history.ErrAbandoned)
	require.ErrorIs(t, s.RollUp(t.Context(), time.Now()), history.ErrAbandoned)
	require.ErrorIs(t, s.Snapshot(t.Context(), t.TempDir()), history.ErrAbandoned)
	require.NotZero(t, s.Stats().Lost)
	require.NoError(t, s.Close())

	// What panicked has left files open: only a copy of the disk can be mended.
	require.NoError(t, exec.Command("umount", "--lazy", folder).Run())
	require.NoError(t, exec.Command("cp", image, image+"2").Run())
	_ = exec.Command("fsck.ext4", "-p", image+"2").Run() // its status tells of what it repaired
	require.NoError(t, exec.Command("mount", "-o", "loop", image+"2", folder).Run())
	again := open(t, data)
	require.Len(t, ask(t, again, light, at, at.Add(time.Hour), 0), 300)
	require.NoError(t, again.Close())
}
