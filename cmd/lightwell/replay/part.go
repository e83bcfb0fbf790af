package replay

import (
	"context"
	"fmt"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/trend"
	"lightwell/collector"
)

// part replays some of the sites.
type part struct {
	cfg        Config
	rec        *Recording
	calendar   *collector.Calendar
	wanted     []bool    // by number of the unit in rec
	now        time.Time // of the readings
	trends     *trend.Keeper
	days       daily
	engine     *alarms.Engine
	list       *alarms.List
	levels     levels
	listening  bool
	polls      int
	counts     map[string]*TypeCount
	lines      []Line
	references []Reference
}

// newPart returns part i of n, with every nth of the sites that have readings.
func newPart(cfg Config, rec *Recording, calendar *collector.Calendar, i, n int) *part {
	read := map[string]bool{}
	for _, id := range rec.units.all {
		u, _ := cfg.Fleet.Unit(id)
		read[u.Site] = true
	}
	fleet := *cfg.Fleet
	fleet.Sites = nil
	at, turn := map[string]bool{}, 0
	for _, site := range cfg.Fleet.Sites {
		if !read[site.ID] {
			continue
		}
		if turn%n == i {
			fleet.Sites = append(fleet.Sites, site)
			at[site.ID] = true
		}
		turn++
	}
	p := &part{cfg: cfg, rec: rec, calendar: calendar, wanted: make([]bool, len(rec.units.all)), levels: levels{}, counts: map[string]*TypeCount{}}
	for number, id := range rec.units.all {
		u, _ := cfg.Fleet.Unit(id)
		p.wanted[number] = at[u.Site]
	}
	p.cfg.Fleet = collector.NewFleet(fleet)
	return p
}

// levels are the baselines in force; it implements alarms.BaselineSource.
type levels map[string]map[collector.Point]baseline.Level

// Levels implements alarms.BaselineSource.
func (l levels) Levels(unit string) (map[collector.Point]baseline.Level, bool) {
	of, ok := l[unit]
	return of, ok
}

// checkEvery is how many polls pass between looks at ctx.
const checkEvery = 4096

func (p *part) run(ctx context.Context) error {
	if err := p.takeBaselines(ctx); err != nil {
		return err
	}
	p.now, _ = p.rec.Span()
	p.days.of = map[place]*course{}
	var err error
	if p.trends, err = trend.New(trend.Config{Baselines: p.levels, Calendar: p.calendar, History: &p.days}); err != nil {
		return fmt.Errorf("replay: %w", err)
	}
	p.trends.SetFleet(p.cfg.Fleet)
	p.list = alarms.NewList(alarms.ListConfig{Sink: p.changed})
	p.engine = alarms.NewEngine(alarms.EngineConfig{
		Rules: p.cfg.Rules, List: p.list, Baselines: p.levels, Trends: p.trends, Calendar: p.calendar,
		Now: func() time.Time { return p.now }, OnEvent: p.happened,
	})
	p.engine.SetFleet(p.cfg.Fleet)
	p.listening = true
	if err := p.replay(ctx); err != nil {
		return err
	}
	p.list.Each(alarms.Filter{Clearance: alarms.ClearanceNotCleared, Shelving: alarms.ShelvingAny}, func(a *alarms.Alarm) bool {
		p.counts[a.Type].Active++
		return true
	})
	return nil
}

// replay judges, as a daemon does, the polls that come within a moment of
// each other together. Moments are those of the clock, so that what comes out
// does not depend on who else is polled.
func (p *part) replay(ctx context.Context) error {
	tick := p.now.Add(p.cfg.Tick)
	end := p.now // of the moment under way
	for poll := range p.rec.polls(p.wanted) {
		if !poll.Started.Before(end) {
			p.trends.Forecast(ctx)
			p.engine.Evaluate(p.now)
			tick = p.tick(tick, poll.Started)
			end = poll.Started.Truncate(alarms.DefaultCoalesce).Add(alarms.DefaultCoalesce)
			p.now = end.Add(-1)
		}
		p.days.take(poll)
		p.trends.Observe(poll)
		p.engine.Observe(poll)
		if p.polls++; p.polls%checkEvery == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
	}
	p.engine.EvaluateAll(p.now)
	return nil
}

// tick looks at all sites at each tick from next to the next poll, and
// returns the tick after that.
func (p *part) tick(next, until time.Time) time.Time {
	if p.cfg.Tick <= 0 {
		return next
	}
	for ; next.Before(until); next = next.Add(p.cfg.Tick) {
		p.now = next
		p.engine.EvaluateAll(next)
	}
	return next
}

func (p *part) changed(changes []alarms.Change) {
	for i := range changes {
		c := &changes[i]
		p.count(c)
		p.lines = append(p.lines, Line{
			Time: p.now.Truncate(alarms.DefaultCoalesce), What: AlarmLine, Kind: string(c.Kind), Since: c.Time, Severity: c.Alarm.State().String(), Type: c.Alarm.Type,
			Resource: c.Alarm.Resource, Site: c.Alarm.Site, Text: c.Alarm.Text, Held: c.Alarm.Hold.By, Notified: c.Notify,
		})
	}
}

func (p *part) count(c *alarms.Change) {
	n := p.counts[c.Alarm.Type]
	if n == nil {
		n = &TypeCount{Type: c.Alarm.Type}
		p.counts[c.Alarm.Type] = n
	}
	if c.Kind == alarms.Raised {
		n.Raised++
	}
	if c.Notify && (c.Kind == alarms.Raised || c.Kind == alarms.Released) {
		n.Notified++
	}
}

func (p *part) happened(e alarms.Event) {
	if p.listening {
		at := e.Time.Truncate(alarms.DefaultCoalesce)
		p.lines = append(p.lines, Line{Time: at, What: EventLine, Kind: string(e.Kind), Resource: e.Resource, Site: e.Site, Text: e.Text})
	}
}
