package daemon

import (
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"lightwell/alarms/metrics"
	"lightwell/collector"
	"lightwell/collector/history"
)

// A pulse tells whether polls come as often as they should.
type pulse struct {
	started time.Time
	last    atomic.Int64 // Unix nanoseconds of the last poll; 0: none yet
	longest atomic.Int64 // nanoseconds without a poll that are still well; 0: nothing to poll
}

// patience is added to the time in which a poll must come, for retries.
const patience = time.Minute

// beat records a poll; first is true once.
func (p *pulse) beat(now time.Time) (first bool) { return p.last.Swap(now.UnixNano()) == 0 }

// expect takes the schedules of a fleet.
func (p *pulse) expect(f *collector.Fleet, now time.Time) {
	var shortest time.Duration
	for _, u := range f.Units {
		site, _ := f.Site(u.Site)
		if s, err := collector.ParseSchedule(u.Poll, site.Location); err == nil {
			if period := s.Period(now); shortest == 0 || period < shortest {
				shortest = period
			}
		}
	}
	if shortest > 0 {
		shortest = 2*shortest + patience
	}
	p.longest.Store(int64(shortest))
}

// silent returns an error when a poll is overdue.
func (p *pulse) silent(now time.Time) error {
	longest := time.Duration(p.longest.Load())
	if longest == 0 {
		return nil
	}
	since := p.started
	if last := p.last.Load(); last != 0 {
		since = time.Unix(0, last)
	}
	if quiet := now.Sub(since); quiet > longest {
		return fmt.Errorf("no poll has ended for %s", quiet.Round(time.Second))
	}
	return nil
}

// Ready tells why the daemon does not do its work, or nil when it does: it
// has polled, polls come, and what comes of them is stored.
func (d *Daemon) Ready() error {
	if d.pulse.last.Load() == 0 && d.pulse.longest.Load() != 0 {
		return errors.New("no unit has been polled yet")
	}
	now := time.Now()
	if err := d.pulse.silent(now); err != nil {
		return err
	}
	return d.unwritten()
}

// unwritten tells why what happens is not stored, or nil when it is.
func (d *Daemon) unwritten() error {
	if err := d.keep.problem(time.Now()); err != nil {
		return err
	}
	if n := d.engine.Stats().Uncommitted; n > 0 {
		return fmt.Errorf("%d changes are not stored yet", n)
	}
	return nil
}

// stateFigures says for the metrics what unwritten says in words.
func (d *Daemon) stateFigures() metrics.StateFigures {
	f := metrics.StateFigures{Written: d.keep.problem(time.Now()) == nil, LastWrite: d.keep.lastWrite(), Waiting: d.engine.Stats().Uncommitted}
	f.DiskUsed, _ = history.DiskUsed(d.opts.Config.Data) // not known everywhere
	if size := d.watch.size.Load(); size != nil {
		f.Rows, f.Bytes = size.Rows, size.Bytes
	}
	return f
}

// Alive tells whether the daemon still works, for a watchdog.
func (d *Daemon) Alive() bool { return d.pulse.silent(time.Now()) == nil }
