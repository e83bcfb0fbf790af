package trend

import (
	"sync"

	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/collector"
	"lightwell/collector/history"
)

// Config says what a Keeper works with.
type Config struct {
	Settings  drift.Settings        // to begin with; the zero value: drift.Default
	Lasers    drift.LaserSettings   // the zero value: drift.DefaultLaser
	Quantiles *drift.Quantiles      // of forecasts; nil: drift.DefaultQuantiles
	Baselines alarms.BaselineSource // nil: nobody accepts any, and what a laser sends is not compared
	Calendar  alarms.WorkCalendar   // nil: no planned work
	History   history.Source        // for forecasts, and after a kill; nil: none
	Store     Store                 // nil: a restart begins anew
	Log       *zap.Logger           // nil: silent
}

// A Keeper follows the points of a fleet. Safe for concurrent use.
type Keeper struct {
	cfg    Config
	groups groups

	mu     sync.RWMutex // guards the next two; sites have locks of their own
	layout layout
	parked map[string][]byte // states of units that the fleet does not have, or not yet

	waiting queue
	fading  asked
	clock   clock
}

var _ alarms.TrendSource = (*Keeper)(nil)

// New reads what is stored. Until SetFleet nothing is followed.
func New(cfg Config) (*Keeper, error) {
	if cfg.Settings == (drift.Settings{}) {
		cfg.Settings = drift.Default()
	}
	if cfg.Lasers == (drift.LaserSettings{}) {
		cfg.Lasers = drift.DefaultLaser()
	}
	if cfg.Quantiles == nil {
		cfg.Quantiles = drift.DefaultQuantiles()
	}
	if cfg.Log == nil {
		cfg.Log = zap.NewNop()
	}
	k := &Keeper{
		cfg: cfg, parked: map[string][]byte{},
		groups: groups{base: cfg.Settings, all: map[groupKey]*group{}, parked: map[string][]byte{}},
	}
	return k, k.recall()
}

// SetFleet takes a fleet over. Units that stay, and are of the same model,
// keep what is known of them; what is known of one that is gone waits for its
// return.
func (k *Keeper) SetFleet(f *collector.Fleet) {
	k.mu.Lock()
	defer k.mu.Unlock()
	old, next := k.layout, lay(f, k.groups.of)
	for id, u := range old.units {
		if body := u.lockedState(); body != nil {
			k.parked[id] = body
		}
	}
	for id, u := range next.units {
		was := old.units[id]
		if was != nil {
			u.version = was.version + 1
		}
		body, ok := k.parked[id]
		if !ok {
			continue
		}
		delete(k.parked, id)
		k.revive(u, body)
		if was != nil && was.model == u.model {
			u.inherit(was)
		}
	}
	for id, s := range next.sites {
		was := old.sites[id]
		s.catchUp = k.cfg.History != nil && s.hasPast() && (was == nil || was.catchingUp())
	}
	k.layout = next
}

// inherit takes over what a state does not hold: the hour and the day under
// way, and what others see.
func (u *unit) inherit(was *unit) {
	was.at.mu.Lock()
	defer was.at.mu.Unlock()
	for i := range u.points {
		p, old := &u.points[i], &was.points[i] // the same model: the same points
		p.series, p.shown, p.dark, p.cold = old.series, old.shown, old.dark, old.cold
		if p.rival != nil && old.rival != nil {
			p.rival.series = old.rival.series
		}
	}
	for i := range u.lasers {
		u.lasers[i].state, u.lasers[i].shown = was.lasers[i].state, was.lasers[i].shown
	}
	for i := range u.gauges {
		u.gauges[i].value, u.gauges[i].at = was.gauges[i].value, was.gauges[i].at
	}
}

// Observe takes a poll in. Polls of units that the fleet does not have, failed
// ones, those older than the last, and those by a clock that has just jumped
// change nothing.
func (k *Keeper) Observe(p collector.Poll) {
	if p.Err != nil {
		return
	}
	k.mu.RLock()
	defer k.mu.RUnlock()
	u := k.layout.units[p.Unit]
	if u == nil || !k.clock.believed(p.Started, k.layout.newest) {
		return
	}
	u.at.mu.Lock()
	defer u.at.mu.Unlock()
	if !u.at.catchUp {
		k.take(u, &p, false)
	}
}

// take is Observe under the lock of the site; again: the poll was fed once
// before, in an earlier life of the program.
func (k *Keeper) take(u *unit, p *collector.Poll, again bool) {
	at := p.Started.Unix()
	if !again && u.cameBack(at) {
		k.rewind(u, at)
	}
	if at <= u.seen {
		return
	}
	u.seen = at
	levels := k.levels(u, at)
	if p.Restarted {
		u.restarted(at)
	}
	k.mindWork(u, at, p.Started)
	u.readGauges(p, at)
	day := false
	for i := range u.points {
		pt := &u.points[i]
		r := u.reading(p, pt.pos)
		if r == nil {
			continue
		}
		if t := pt.observe(u.kind[pt.pos], levels, at, r.Value); t.Hour || t.Raised|t.Cleared != 0 {
			pt.group.observe(t, at, again)
			if t.Day {
				day = true
				pt.settle()
				k.foresee(u, pt)
			}
			pt.show(u)
		}
	}
	for i := range u.lasers {
		l := &u.lasers[i]
		if r := u.reading(p, l.pos); r != nil && l.observe(&k.cfg.Lasers, u, at, r.Value) {
			day = true
		}
	}
	if day {
		k.keep(u)
	}
}

// Trends implements alarms.TrendSource.
func (k *Keeper) Trends(id string, since uint64) ([]alarms.PointTrend, uint64) {
	k.mu.RLock()
	defer k.mu.RUnlock()
	u := k.layout.units[id]
	if u == nil {
		return nil, since
	}
	u.at.mu.Lock()
	defer u.at.mu.Unlock()
	if u.version == since {
		return nil, since
	}
	out := make([]alarms.PointTrend, len(u.points), len(u.points)+len(u.lasers))
	for i := range u.points {
		p := &u.points[i]
		out[i] = alarms.PointTrend{Point: u.kind[p.pos], Thermometer: p.thermometer()}
		if p.shown != nil {
			out[i].Trend, out[i].Forecasts = p.shown.trend, p.shown.forecasts
		}
	}
	for i := range u.lasers {
		l := &u.lasers[i]
		t := alarms.PointTrend{Point: u.kind[l.pos], Laser: l.shown}
		if l.own != nil {
			t.Thermometer = l.own.of.id
		}
		out = append(out, t)
	}
	return out, u.version
}
