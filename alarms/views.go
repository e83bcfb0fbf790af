package alarms

import (
	"maps"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// BaselineSource tells the baselines in force.
type BaselineSource interface {
	// Levels returns the accepted baseline of a unit's points; false while
	// none is accepted and the unit is being commissioned.
	Levels(unit string) (map[collector.Point]baseline.Level, bool)
}

// siteState is what the engine knows of one site.
type siteState struct {
	place int          // in the fleet
	mu    sync.RWMutex // guards all below
	site  collector.Site
	units []*UnitView
	power []powerMark                // restarts and supply flickers, for mains dips
	shown atomic.Pointer[[]UnitView] // copies of units for readers; nil after every change
	dip   time.Time                  // of the last mains dip told

	findings     []Finding
	toldFindings map[[2]string]time.Time // cause and resource
}

// unitState is where the polls of one unit go.
type unitState struct {
	at   *siteState
	view *UnitView // guarded by at.mu
	seen unitMarks // guarded by at.mu
}

// Clone returns a deep copy.
func (u *UnitView) Clone() UnitView {
	c := *u
	c.Points = maps.Clone(u.Points)
	for p, pv := range c.Points {
		if pv.Baseline != nil || pv.Daily != nil {
			pv.Baseline, pv.Daily = clonePtr(pv.Baseline), clonePtr(pv.Daily)
			c.Points[p] = pv
		}
	}
	c.Unit.Equipment.Points = slices.Clone(u.Unit.Equipment.Points)
	return c
}

// take stores a poll in the view. Readings of a failed poll stay as they
// were; the view is then not up, and they count no more.
func (u *UnitView) take(p collector.Poll, near []*UnitView) {
	u.Polled, u.Err = p.Started, p.Err
	if p.Err != nil {
		if u.Failures++; u.Failures == 1 {
			u.FirstFailure = p.Started
		}
		u.deviate(near)
		return
	}
	u.LastSuccess, u.Failures, u.FirstFailure = p.Started, 0, time.Time{}
	if u.Points == nil {
		u.Points = make(map[collector.Point]PointView, len(p.Readings))
	}
	for _, r := range p.Readings {
		pv := u.Points[r.Point]
		pv.Reading = r
		u.Points[r.Point] = pv
		if up := r.Point.Quantity == collector.Uptime && r.Quality == collector.Good; up && (p.Restarted || u.StartedAt.IsZero()) {
			u.StartedAt = r.Taken.Add(-time.Duration(r.Value * float64(time.Second)))
		}
	}
	u.deviate(near)
	u.follow(p.Readings)
	u.countSupplies(p.Readings)
}

// countSupplies takes down since when the unit has told of a supply gone. A
// poll that tells nothing of supplies changes nothing.
func (u *UnitView) countSupplies(readings []collector.Reading) {
	var told bool
	var gone time.Time
	for _, r := range readings {
		if r.Point.Quantity != collector.SupplyState || r.Quality != collector.Good {
			continue
		}
		told = true
		if said := r.Point.Quantity.StateName(r.Value); said == collector.StateFailed || said == collector.StateAbsent {
			gone = r.Taken.Add(-r.Age)
		}
	}
	if told && (gone.IsZero() || u.SupplyGone.IsZero()) {
		u.SupplyGone = gone
	}
}

// follow takes readings into the memory of their points.
func (u *UnitView) follow(readings []collector.Reading) {
	for _, r := range readings {
		pv := u.Points[r.Point]
		if r.Quality != collector.Good {
			continue
		}
		pv.follow()
		if dailyOf(r.Point.Quantity) {
			if pv.Daily == nil {
				pv.Daily = &Daily{}
			}
			v := r.Value
			if pv.Compared {
				v = pv.Deviation
			}
			pv.Daily.take(r.Taken, v)
		}
		u.Points[r.Point] = pv
	}
}

// compare takes over the baselines in force and sets the deviations. near are
// the units of the site.
func (u *UnitView) compare(source BaselineSource, near []*UnitView) {
	var levels map[collector.Point]baseline.Level
	u.Baselined = false
	if source != nil {
		levels, u.Baselined = source.Levels(u.Unit.ID)
	}
	changed := false
	for p, pv := range u.Points {
		level, ok := levels[p]
		was := pv.Baseline
		switch ok = ok && u.Baselined; {
		case !ok && pv.Baseline == nil, ok && pv.Baseline != nil && *pv.Baseline == level:
			continue
		case ok:
			pv.Baseline = clonePtr(&level)
		default:
			pv.Baseline = nil
		}
		if !ok || was == nil || !was.CapturedAt.Equal(level.CapturedAt) {
			pv.Past, pv.Daily = Past{}, nil // they tell of another baseline
		}
		u.Points[p], changed = pv, true
	}
	if changed { // else take has set the deviations
		u.deviate(near)
	}
}

// deviate sets the deviations from the baselines, at the temperature that
// explains a point. Nothing is compared while the unit does not answer.
func (u *UnitView) deviate(near []*UnitView) {
	up := u.Up()
	for p, pv := range u.Points {
		was, compared := pv.Deviation, pv.Compared
		pv.Deviation, pv.Compared = 0, false
		if pv.Baseline != nil && pv.Reading.Quality == collector.Good && up {
			temp, hasTemp := u.temperature(p, pv.Baseline, near)
			pv.Deviation, pv.Compared = pv.Baseline.Deviation(pv.Reading.Value, temp, hasTemp), true
		}
		if pv.Deviation != was || pv.Compared != compared {
			u.Points[p] = pv
		}
	}
}

// temperature returns the one that explains a point: that of another unit of
// the site where its baseline says so, else that of its port where the unit
// reads one, else that of its case.
func (u *UnitView) temperature(p collector.Point, l *baseline.Level, near []*UnitView) (tempC float64, ok bool) {
	of := u
	if l.TempUnit != "" {
		i := slices.IndexFunc(near, func(n *UnitView) bool { return n.Unit.ID == l.TempUnit })
		if i < 0 {
			return 0, false
		}
		of = near[i]
	} else if p.Port != "" {
		if tempC, _, ok = u.Good(collector.Point{Quantity: collector.Temperature, Port: p.Port}); ok {
			return tempC, true
		}
	}
	tempC, _, ok = of.Good(collector.Point{Quantity: collector.Temperature})
	return tempC, ok
}

// Unit returns a deep copy of what is known of a unit.
func (e *Engine) Unit(id string) (UnitView, bool) {
	e.mu.RLock()
	defer e.mu.RUnlock()
	u, ok := e.units[id]
	if !ok {
		return UnitView{}, false
	}
	u.at.mu.RLock()
	defer u.at.mu.RUnlock()
	return u.view.Clone(), true
}

// Units returns what is known of all units, site by site in the order of the
// fleet file. It is as it was when asked for, and goes on being so; what it
// points to is shared by all who ask, and not to be changed.
func (e *Engine) Units() []UnitView {
	e.mu.RLock()
	sites, count := e.sites, len(e.units)
	e.mu.RUnlock()
	out := make([]UnitView, 0, count)
	for _, s := range sites {
		out = append(out, s.copies()...)
	}
	return out
}

// copies are made anew only when the site has changed since they were made.
func (s *siteState) copies() []UnitView {
	if kept := s.shown.Load(); kept != nil {
		return *kept
	}
	s.mu.RLock()
	defer s.mu.RUnlock()
	made := make([]UnitView, len(s.units))
	for i, u := range s.units {
		made[i] = u.Clone()
	}
	s.shown.Store(&made)
	return made
}

// toChange locks the site's units for a change of them, and forgets the
// copies. The caller unlocks.
func (s *siteState) toChange() {
	s.mu.Lock()
	s.shown.Store(nil)
}

// EachUnit calls fn for every unit in the order of Units, until fn returns
// false. It copies nothing: fn must neither change nor keep the view, nor
// call the engine. Polls of the same site wait while fn runs.
func (e *Engine) EachUnit(fn func(*UnitView) bool) {
	e.EachSite(func(units []*UnitView) bool {
		for _, u := range units {
			if !fn(u) {
				return false
			}
		}
		return true
	})
}

// EachSite is EachUnit with all units of a site at once, as they are at the
// same moment.
func (e *Engine) EachSite(fn func([]*UnitView) bool) {
	e.mu.RLock()
	sites := e.sites
	e.mu.RUnlock()
	for _, s := range sites {
		if !s.each(fn) {
			return
		}
	}
}

func (s *siteState) each(fn func([]*UnitView) bool) bool {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return fn(s.units)
}
