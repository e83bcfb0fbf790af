package trend

import (
	"slices"
	"time"

	"lightwell/alarms/baseline"
	"lightwell/alarms/drift"
	"lightwell/collector"
)

// restarted has what the unit's lasers send, and what it reads itself,
// ignored while it warms up.
func (u *unit) restarted(at int64) {
	u.restLasers(at)
	for i := range u.points {
		p := &u.points[i]
		p.chill(at)
		if p.sends != nil {
			p.sends.cold = at
		}
	}
}

// mindWork stops judging during planned work. Two hours after it the old
// baseline is in force again.
func (k *Keeper) mindWork(u *unit, at int64, now time.Time) {
	if k.cfg.Calendar == nil || at-u.asked < askAgain && at >= u.asked {
		return
	}
	u.asked = at
	_, busy := k.cfg.Calendar.During(u.work, now)
	if busy {
		u.restLasers(at)
	}
	switch {
	case busy && !u.frozen:
		u.all(func(p *point, s *drift.Series) { s.Freeze(p.group.settings(), at) })
	case !busy && u.frozen:
		u.all(func(_ *point, s *drift.Series) { s.Resume(at) })
	}
	u.frozen = busy
}

// all calls fn with every series of the unit's points.
func (u *unit) all(fn func(*point, *drift.Series)) {
	for i := range u.points {
		p := &u.points[i]
		p.each(func(s *drift.Series) { fn(p, s) })
	}
}

// levels returns the accepted baseline of the unit's points and minds when
// there is a new one. The first one begins the series: before it people are
// still at work on the unit.
func (k *Keeper) levels(u *unit, at int64) map[collector.Point]baseline.Level {
	if k.cfg.Baselines == nil {
		return nil
	}
	levels, ok := k.cfg.Baselines.Levels(u.id)
	if !ok {
		return nil
	}
	for i := range u.points {
		level, ok := levels[u.kind[u.points[i].pos]]
		if !ok {
			continue
		}
		if captured := level.CapturedAt.Unix(); captured != u.accepted && captured <= at {
			if u.accepted != 0 {
				u.rebase(at)
			} else {
				u.reset()
			}
			u.accepted = captured
		}
		break
	}
	return levels
}

// rebase takes new baselines of the unit's points, and of the receivers that
// its lasers feed: they count from what it sends now.
func (u *unit) rebase(at int64) {
	u.all(func(p *point, s *drift.Series) { p.rebase(s, at) })
	for _, r := range u.fed {
		r.point.each(func(s *drift.Series) { r.point.rebase(s, at) })
	}
	u.frozen = false
}

// rebase does so for a series, unless it has just begun one.
func (p *point) rebase(s *drift.Series, at int64) {
	if s.Trend(p.group.settings()).Phase > drift.Prior {
		s.Rebase(at)
	} else {
		s.Resume(at)
	}
}

// reset forgets what the unit's points have read.
func (u *unit) reset() {
	for i := range u.points {
		u.points[i].reset()
	}
	for i := range u.lasers {
		u.lasers[i].state, u.lasers[i].shown = drift.Laser{}, nil
	}
	u.version++
}

// reset begins the point anew, with its own temperature.
func (p *point) reset() {
	p.series, p.shown = drift.Series{}, nil
	p.own, p.rival = p.home, nil
	switch {
	case p.home == nil:
		p.own = p.far
	case p.far != nil:
		p.rival = &rival{gauge: p.far}
	}
}

// Visited tells that people were at work at units until a time, and may have
// changed what their points read: each takes a new baseline, and what was lost
// before stays counted. Units that the fleet does not have are passed over.
func (k *Keeper) Visited(units []string, until time.Time) {
	k.visit(units, func(u *unit) {
		u.rebase(until.Unix())
		for _, r := range u.fed {
			k.keep(r.unit)
		}
	})
}

// visit calls fn with each unit, its site locked, and has it stored.
func (k *Keeper) visit(units []string, fn func(*unit)) {
	k.mu.RLock()
	defer k.mu.RUnlock()
	for _, id := range slices.Compact(slices.Sorted(slices.Values(units))) {
		if u := k.layout.units[id]; u != nil {
			u.at.mu.Lock()
			fn(u)
			k.keep(u)
			u.at.mu.Unlock()
		}
	}
}
