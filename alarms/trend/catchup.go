package trend

import (
	"cmp"
	"context"
	"slices"
	"time"

	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/history"
)

const (
	feedWindow = 6 * time.Hour   // of readings that are fed at a time
	together   = 4 * time.Second // readings of a unit within this time came with one poll
	nearNow    = 10 * time.Second
)

// hasPast tells whether a unit of the site was followed before.
func (s *site) hasPast() bool {
	return slices.ContainsFunc(s.units, func(u *unit) bool { return u.seen > 0 })
}

func (s *site) catchingUp() bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.catchUp
}

// catchUp feeds every site that waits for it with what history knows since its
// units were stored. Polls that come meanwhile are in the history too; those
// of its last moment may be missed.
func (k *Keeper) catchUp(ctx context.Context) {
	k.mu.RLock()
	sites := make([]*site, 0, len(k.layout.sites))
	for _, s := range k.layout.sites {
		sites = append(sites, s)
	}
	k.mu.RUnlock()
	for _, s := range sites {
		if ctx.Err() != nil {
			return
		}
		if s.catchingUp() {
			if err := k.catchUpSite(ctx, s); err != nil {
				k.cfg.Log.Warn("readings since the last stop are not known; trends go on without them", zap.Error(err))
			}
			s.mu.Lock()
			s.catchUp = ctx.Err() != nil
			s.mu.Unlock()
		}
	}
}

// CatchingUp tells whether sites still wait for what history knows.
func (k *Keeper) CatchingUp() bool {
	k.mu.RLock()
	defer k.mu.RUnlock()
	for _, s := range k.layout.sites {
		if s.catchingUp() {
			return true
		}
	}
	return false
}

func (k *Keeper) catchUpSite(ctx context.Context, s *site) error {
	s.mu.Lock()
	from := int64(0)
	for _, u := range s.units {
		if u.seen > 0 && (from == 0 || u.seen < from) {
			from = u.seen
		}
	}
	s.mu.Unlock()
	for begin := time.Unix(from, 0); ; {
		end := begin.Add(feedWindow)
		if now := time.Now(); end.After(now) {
			end = now
		}
		var polls []collector.Poll
		for _, u := range s.units {
			of, err := k.past(ctx, u, begin, end)
			if err != nil {
				return err
			}
			polls = append(polls, of...)
		}
		slices.SortStableFunc(polls, func(a, b collector.Poll) int { return a.Started.Compare(b.Started) })
		k.feed(s, polls)
		if begin = end; time.Since(end) < nearNow {
			return nil
		}
	}
}

func (k *Keeper) feed(s *site, polls []collector.Poll) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for i := range polls {
		for _, u := range s.units {
			if u.id == polls[i].Unit {
				k.take(u, &polls[i], true)
			}
		}
	}
}

// past returns what history knows of a unit, as polls.
func (k *Keeper) past(ctx context.Context, u *unit, from, to time.Time) ([]collector.Poll, error) {
	var points []collector.Point
	for _, p := range u.kind {
		if p.Quantity == collector.Temperature || p.Quantity == collector.Uptime || slices.Contains(followed, p.Quantity) {
			points = append(points, p)
		}
	}
	if len(points) == 0 || !from.Before(to) {
		return nil, nil
	}
	series, err := k.cfg.History.Query(ctx, history.Query{Unit: u.id, Points: points, From: from, To: to})
	if err != nil {
		return nil, err
	}
	return pollsOf(u.id, series), nil
}

// pollsOf puts readings that came together back into polls.
func pollsOf(unit string, series []history.Series) []collector.Poll {
	var all []collector.Reading
	for _, s := range series {
		for _, v := range s.Samples {
			all = append(all, collector.Reading{Unit: unit, Point: s.Point, Value: v.Value, Taken: v.Time})
		}
	}
	slices.SortStableFunc(all, func(a, b collector.Reading) int { return a.Taken.Compare(b.Taken) })
	var out []collector.Poll
	var uptime, taken time.Duration // of the poll before, since 1970
	for len(all) > 0 {
		n := 1
		for n < len(all) && all[n].Taken.Sub(all[0].Taken) < together && !slices.ContainsFunc(all[:n], func(r collector.Reading) bool { return r.Point == all[n].Point }) {
			n++
		}
		p := collector.Poll{Unit: unit, Started: all[0].Taken, Readings: all[:n]}
		for _, r := range p.Readings {
			if r.Point.Quantity == collector.Uptime {
				up, at := time.Duration(r.Value*float64(time.Second)), time.Duration(r.Taken.UnixNano())
				p.Restarted = taken > 0 && collector.Restarted(uptime, up, at-taken)
				uptime, taken = up, at
			}
		}
		slices.SortFunc(p.Readings, func(a, b collector.Reading) int { return cmp.Compare(a.Point.String(), b.Point.String()) })
		out = append(out, p)
		all = all[n:]
	}
	return out
}
