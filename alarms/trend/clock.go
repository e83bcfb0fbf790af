package trend

import (
	"sync"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms/drift"
	"lightwell/alarms/upkeep"
)

// ahead is how far what was read last may lie after a reading by a clock that
// is believed: polls of a unit may overtake one another by less. Beyond, the
// clock ran ahead and has come back.
const ahead = 2 * time.Minute

// backPolls in a row, in order of time, must lie before what was read last.
const backPolls = 3

// clock compares the times of polls with the time that passes.
type clock struct {
	mu    sync.Mutex
	began time.Time // the first poll's, with the time that passes in it
	judge *upkeep.Clock
}

// believed tells whether a poll may be taken in by its time. newest returns
// the time of what was read last, in an earlier life if this one has read
// nothing; a clock behind that has jumped.
func (c *clock) believed(started time.Time, newest func() time.Time) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.judge == nil {
		c.began, c.judge = started, upkeep.NewClock(newest(), started)
	}
	return c.judge.Observe(started, started.Sub(c.began)) == 0
}

// newest returns when a unit was read last, by the clock of that time.
func (l *layout) newest() time.Time {
	var at int64
	for _, s := range l.sites {
		s.mu.Lock()
		for _, u := range s.units {
			at = max(at, u.seen)
		}
		s.mu.Unlock()
	}
	return time.Unix(at, 0)
}

// cameBack tells whether the polls of a unit, of which one is of this time,
// are by a clock that is behind the one before.
func (u *unit) cameBack(at int64) bool {
	if u.seen-at <= int64(ahead.Seconds()) {
		u.behinds = 0
		return false
	}
	if at <= u.behind {
		u.behinds = 0
	}
	u.behind = at
	u.behinds++
	return u.behinds >= backPolls
}

// rewind has a unit go on from a time before its newest reading: that came by
// a clock that ran ahead. Its site is locked.
func (k *Keeper) rewind(u *unit, at int64) {
	k.cfg.Log.Warn("the clock ran ahead: trends go on from now", zap.String("unit", u.id), zap.Duration("ahead", time.Duration(u.seen-at)*time.Second))
	u.seen, u.behind, u.behinds = at-1, 0, 0
	for i := range u.points {
		p := &u.points[i]
		p.each(func(s *drift.Series) { s.Rewind(at - 1) })
		p.cold = min(p.cold, at)
		if p.sends != nil {
			p.sends.cold = min(p.sends.cold, at)
		}
	}
	for i := range u.lasers {
		u.lasers[i].state.Rewind(at - 1)
	}
	k.keep(u)
}
