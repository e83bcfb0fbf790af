package daemon

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/notify"
	"lightwell/alarms/upkeep"
	"lightwell/collector/history"
	"lightwell/collector/state"
)

const (
	// watchInterval is how often the daemon looks at itself.
	watchInterval = 10 * time.Second
	// tidyInterval is how often what is old is forgotten.
	tidyInterval = time.Hour
	// tidyStep rows are forgotten in one transaction, which takes some
	// milliseconds; tidyPause is what rounds have to themselves between two.
	tidyStep  = 500
	tidyPause = 50 * time.Millisecond
	// diskWarn is the share of the disk in use that is worth an alarm.
	diskWarn = 0.8
)

// foreverKinds are the lines of the log that are never forgotten: which
// baseline was accepted by whom, and who was at a site.
var foreverKinds = []string{"baseline-accepted", "baseline-forced", "visit-begun", "visit-ended", "visit-forgotten", "visit-closed"}

// watch is how the daemon watches itself.
type watch struct {
	mu      sync.Mutex // held by who looks
	judge   upkeep.Watch
	clock   *upkeep.Clock
	started time.Time
	off     atomic.Int64 // ns that the clock has jumped
	size    atomic.Pointer[state.Size]
}

// newWatch begins now; last is when the daemon wrote in an earlier life.
func newWatch(last, now time.Time) *watch {
	return &watch{clock: upkeep.NewClock(last, now), started: now}
}

// upkeep judges the daemon itself and forgets what is old, until ctx ends.
func (d *Daemon) upkeep(ctx context.Context) error {
	look, tidy := time.NewTicker(watchInterval), time.NewTimer(watchInterval)
	defer look.Stop()
	defer tidy.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-look.C:
			d.look(time.Now(), time.Since(d.watch.started))
		case <-tidy.C:
			d.tidy(ctx)
			tidy.Reset(tidyInterval)
		}
	}
}

// look raises and clears the alarms of the daemon itself. elapsed is the time
// since the start.
func (d *Daemon) look(now time.Time, elapsed time.Duration) {
	d.watch.mu.Lock()
	defer d.watch.mu.Unlock()
	off := d.watch.clock.Observe(now, elapsed)
	d.watch.off.Store(int64(off))
	f := upkeep.Facts{
		Unwritten: d.keep.problem(now), ClockOff: off,
		Disk: upkeep.Disk{Stop: d.running.History.Local.DiskStop},
	}
	f.Disk.Warn = min(diskWarn, f.Disk.Stop)
	f.Disk.Used, _ = history.DiskUsed(d.running.Data) // not known everywhere
	for _, s := range d.dispatcher.Stats() {
		f.Endpoints = append(f.Endpoints, upkeep.Endpoint{
			Name: s.Endpoint, Pending: s.Pending, Oldest: s.Oldest, Dead: s.Dead, Stopped: s.State == notify.Stopped, Error: s.LastError,
		})
	}
	d.list.Each(alarms.Filter{Clearance: alarms.ClearanceNotCleared, Resource: upkeep.Resource, Shelving: alarms.ShelvingAny}, func(a *alarms.Alarm) bool {
		f.Standing = append(f.Standing, a.Key)
		return true
	})
	if updates := d.watch.judge.Judge(f, now); len(updates) > 0 {
		d.list.Apply(now, updates...)
	}
}

// tidy forgets old lines of the log and old webhooks that were given up, and
// counts what is stored. A clock that jumped makes nothing old.
func (d *Daemon) tidy(ctx context.Context) {
	if d.watch.off.Load() == 0 {
		d.forget(ctx, time.Now())
	}
	ctx, cancel := context.WithTimeout(ctx, readTimeout)
	defer cancel()
	size, err := d.keep.store.Size(ctx)
	if err != nil {
		d.log.Warn("count what is stored", zap.Error(err))
		return
	}
	d.watch.size.Store(&size)
}

func (d *Daemon) forget(ctx context.Context, now time.Time) {
	r := d.running.Retention
	limits := state.Retention{Keep: foreverKinds}
	if r.Changes > 0 {
		limits.Changes = now.Add(-r.Changes)
	}
	if r.DeadLetters > 0 {
		limits.Dead = now.Add(-r.DeadLetters)
	}
	total := 0
	for {
		var rows int
		err := d.keep.write(func(ctx context.Context) (err error) {
			rows, err = d.keep.store.Trim(ctx, limits, tidyStep)
			return err
		})
		total += rows
		if err != nil {
			d.log.Warn("forget what is old; will try again", zap.Error(err))
			return
		}
		if rows == 0 {
			break
		}
		select {
		case <-ctx.Done():
			return
		case <-time.After(tidyPause):
		}
	}
	if total > 0 {
		d.log.Info("old lines of the log and old webhooks forgotten", zap.Int("rows", total))
	}
}
