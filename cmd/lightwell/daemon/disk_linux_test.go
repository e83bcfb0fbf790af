package daemon_test

import (
	"errors"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/need"
)

// ownDisk gives the bench a small disk in memory for its data; only root can.
func (b *bench) ownDisk(size string) {
	b.t.Helper()
	require.NoError(b.t, os.MkdirAll(b.cfg.Data, 0o700))
	err := syscall.Mount("none", b.cfg.Data, "tmpfs", 0, "size="+size)
	if errors.Is(err, syscall.EPERM) {
		b.t.Skip("mounting a disk needs root")
	}
	require.NoError(b.t, err)
	b.t.Cleanup(func() { require.NoError(b.t, syscall.Unmount(b.cfg.Data, syscall.MNT_DETACH)) })
}

const brokenSensor = "unit/room-1/temperature"

// broken starts a daemon and waits for the alarm of a sensor; it returns the
// alarm's id.
func (b *bench) broken(plant *switches) string {
	b.t.Helper()
	b.start()
	b.eventually("ready", func() bool { return b.daemon.Ready() == nil })
	plant.set("room-1", true)
	b.saw("raised warning sensor-broken " + brokenSensor)
	return b.alarm(brokenSensor)
}

// comment says something about an alarm.
func (b *bench) comment(id, text string) (status int, answer string) {
	b.t.Helper()
	return b.answer("POST", "/api/v1/alarms/"+id+"/comment", `{"text": "`+text+`"}`)
}

// refused waits until what people do is refused, because of what the reason
// says, and what happens is not.
func (b *bench) refused(plant *switches, id, reason string) {
	b.t.Helper()
	var text string
	b.eventually("people are refused", func() (refused bool) {
		var status int
		status, text = b.comment(id, strings.Repeat("x", 900))
		return status == http.StatusServiceUnavailable
	})
	require.Contains(b.t, text, "nothing was changed")
	status, text := b.answer("GET", "/readyz", "")
	require.Equal(b.t, http.StatusServiceUnavailable, status)
	require.Contains(b.t, text, reason)
	plant.set("room-1", false)
	b.eventually("the alarm clears although that cannot be stored", func() bool { return b.alarm(brokenSensor) == "" })
}

// TestDiskFullWhileRunning fills the disk under a running daemon. When there
// is room again everything is written and told.
func TestDiskFullWhileRunning(t *testing.T) {
	t.Parallel()
	b, plant := newSwitched(t, collector.Secret{})
	b.ownDisk("32m")
	id := b.broken(plant)
	status, text := b.comment(id, "part ordered")
	require.Equal(t, http.StatusOK, status, text)
	filler := filepath.Join(b.cfg.Data, "filler")
	fillDisk(t, filler)
	b.refused(plant, id, "no space left")
	require.NoError(t, os.Remove(filler))
	b.eventually("ready again", func() bool { return b.daemon.Ready() == nil })
	b.saw("cleared warning sensor-broken " + brokenSensor)
	b.stop()
	b.start()
	kinds := b.logKinds()
	require.Contains(t, kinds, "commented "+brokenSensor+" by local from 127.0.0.1")
	require.Contains(t, kinds, "cleared "+brokenSensor)
}

// TestDiskTurnsReadOnly has the kernel make the disk read-only under a running
// daemon, as it does after an error of the disk. What was confirmed is there
// when the disk is mounted again.
func TestDiskTurnsReadOnly(t *testing.T) {
	t.Parallel()
	b, plant := newSwitched(t, collector.Secret{})
	image := b.ext4(t)
	id := b.broken(plant)
	status, text := b.comment(id, "part ordered")
	require.Equal(t, http.StatusOK, status, text)
	run(t, "mount", "-o", "remount,abort", b.cfg.Data)
	b.refused(plant, id, "since")
	require.Regexp(t, "cannot be written|disk fails or is full", b.daemon.Ready().Error())
	b.eventually("the history is given up", func() bool { return strings.Contains(b.log.String(), "history abandoned") })
	b.stop()

	// The database of the history has left files open, as a process that was
	// killed would not: only a copy of the disk can be mended.
	run(t, "umount", "--lazy", b.cfg.Data)
	run(t, "cp", image, image+"2")
	_ = exec.Command("fsck.ext4", "-p", image+"2").Run() // its status tells of what it repaired
	run(t, "mount", "-o", "loop", image+"2", b.cfg.Data)
	plant.set("room-1", true)
	b.start()
	b.eventually("ready after the repair", func() bool { return b.daemon.Ready() == nil })
	require.Contains(t, b.logKinds(), "commented "+brokenSensor+" by local from 127.0.0.1")
	require.Equal(t, id, b.alarm(brokenSensor))
}

// ext4 puts the data on a disk of its own, in a file.
func (b *bench) ext4(t *testing.T) (image string) {
	t.Helper()
	mkfs := need.Program(t, "mkfs.ext4")
	image = filepath.Join(t.TempDir(), "disk")
	require.NoError(t, os.WriteFile(image, nil, 0o600))
	require.NoError(t, os.Truncate(image, 64<<20))
	run(t, mkfs, "-q", "-F", image)
	require.NoError(t, os.MkdirAll(b.cfg.Data, 0o700))
	if out, err := exec.Command("mount", "-o", "loop", image, b.cfg.Data).CombinedOutput(); err != nil {
		t.Skipf("mounting a disk needs root and a loop device: %v: %s", err, out)
	}
	t.Cleanup(func() { run(t, "umount", "--lazy", b.cfg.Data) })
	return image
}

func run(t *testing.T, program string, args ...string) {
	t.Helper()
	out, err := exec.Command(program, args...).CombinedOutput()
	require.NoError(t, err, "%s", out)
}

// fillDisk writes a file until the disk is full.
func fillDisk(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	require.NoError(t, err)
	for err == nil {
		_, err = f.Write(make([]byte, 4096))
	}
	require.ErrorIs(t, err, syscall.ENOSPC)
	require.NoError(t, f.Close())
}

// TestDiskAlmostFull fills the disk to above the limits: an alarm, then no
// more readings, while alarms are stored as before.
func TestDiskAlmostFull(t *testing.T) {
	t.Parallel()
	b, plant := newSwitched(t, collector.Secret{})
	b.ownDisk("64m")
	b.start()
	b.eventually("ready", func() bool { return b.daemon.Ready() == nil })
	filler := filepath.Join(b.cfg.Data, "filler")
	require.NoError(t, os.WriteFile(filler, make([]byte, 53<<20), 0o600))
	now := time.Now()
	look := func(after time.Duration) { b.daemon.Look(now.Add(after), after) }
	look(0)
	look(time.Minute)
	b.saw("raised warning disk-almost-full daemon")
	require.NoError(t, os.WriteFile(filler, make([]byte, 59<<20), 0o600))
	look(2 * time.Minute)
	b.saw("severity_changed major disk-almost-full daemon")
	b.eventually("no more readings", func() bool {
		local, _ := b.daemon.HistoryStats()
		return local.Full
	})
	plant.set("room-1", true)
	b.saw("raised warning sensor-broken unit/room-1/temperature")
	require.NoError(t, b.daemon.Ready(), "what happens is stored")
	require.NoError(t, os.Remove(filler))
	b.eventually("readings again", func() bool {
		local, _ := b.daemon.HistoryStats()
		return !local.Full
	})
	look(3 * time.Minute)
	look(4 * time.Minute)
	b.saw("cleared major disk-almost-full daemon")
}
