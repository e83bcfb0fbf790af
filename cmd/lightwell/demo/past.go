package demo

import (
	"context"
	"fmt"
	"slices"
	"time"

	"lightwell/alarms/baseline"
	"lightwell/alarms/trend"
	"lightwell/collector"
	"lightwell/collector/history"
	"lightwell/collector/plant"
)

// slow are faults that began long before the demonstration, in time to be
// seen in the days since: one joint gives way, one laser ages.
var slow = []struct {
	fault plant.Fault
	ago   time.Duration
}{
	{plant.Fault{Kind: "joint-creep", Link: "bv-roof-stacks", Direction: "downlink", Size: 2.6, Ramp: 480 * day}, 75 * day},
	{plant.Fault{Kind: "laser-ageing", Unit: "fw-ward-2", Size: 80, Ramp: 480 * day}, 80 * day},
}

const (
	day           = 24 * time.Hour
	commissioned  = 10 * time.Minute // readings of the first day that baselines are taken from
	firstPolls    = 20 * time.Second
	learntWithin  = 16 * day      // two weeks, and time to come to rest
	learningPolls = time.Hour     // meanwhile: often enough for a baseline to be final
	pastPolls     = 2 * time.Hour // afterwards: often enough for a trend, quick enough for who waits
	weekOfHistory = 7 * day
)

// remembered are the quantities that history gets.
var remembered = []collector.Quantity{
	collector.OpticalReceivePower, collector.OpticalTransmitPower, collector.LaserBias, collector.Temperature, collector.RFOutputLevel,
}

// Memory is where what happened before the demonstration is put.
type Memory struct {
	Book    *baseline.Book
	Trends  *trend.Keeper
	History *history.Store // nil: none is kept
}

// age puts the slow faults in.
func (d *Demo) age() error {
	for _, s := range slow {
		if _, known := d.fleet.Link(s.fault.Link); !known && s.fault.Link != "" {
			continue // another fleet
		}
		if _, known := d.fleet.Unit(s.fault.Unit); !known && s.fault.Unit != "" {
			continue
		}
		if _, err := d.plant.Inject(s.fault, plantStart.Add(-s.ago)); err != nil {
			return fmt.Errorf("demo: %w", err)
		}
	}
	return nil
}

// Remember makes up the months before the demonstration: the fleet was
// commissioned so long ago, and read every hour while its baselines were learnt
// and every two hours since. It returns when ctx ends. Where baselines are there already it does nothing.
func (d *Demo) Remember(ctx context.Context, to Memory, span time.Duration) error {
	if span < 2*day || to.Book.State(d.fleet.Units[0].ID) == baseline.Accepted {
		return nil
	}
	now := time.Now()
	p := past{Demo: d, to: to, now: now, plantNow: d.plant.PlantTime(now), hours: map[string]map[collector.Point][]history.Sample{}}
	begin := now.Add(-span).Truncate(time.Hour)
	if err := p.commission(begin.Add(-commissioned)); err != nil {
		return err
	}
	flushed := begin
	every := learningPolls
	for at := begin; at.Before(now) && ctx.Err() == nil; at = at.Add(every) {
		p.poll(at)
		switch since := at.Sub(begin); {
		case since >= learntWithin:
			every = pastPolls
		case since%day == 0:
			if _, err := to.Book.Keep(at, false); err != nil {
				return err
			}
		}
		if at.Sub(flushed) >= weekOfHistory {
			if err := p.flush(); err != nil {
				return err
			}
			flushed = at
		}
	}
	if err := p.flush(); err != nil {
		return err
	}
	d.cfg.Print(fromUs, fmt.Sprintf("baselines of %d units are accepted, as of %s; what was read since was made up in %s",
		len(d.fleet.Units), begin.UTC().Format(time.DateOnly), time.Since(now).Round(100*time.Millisecond)))
	return ctx.Err()
}

// past is the time before the demonstration.
type past struct {
	*Demo
	to            Memory
	now, plantNow time.Time
	hours         map[string]map[collector.Point][]history.Sample // not written yet
}

// polls reads every unit at a moment. A plant has no time before its own
// start but what its physics say: an hour of ours was an hour of its.
func (p *past) polls(at time.Time, take func(collector.Poll)) {
	for _, u := range p.fleet.Units {
		readings, err := p.plant.ReadAt(u.ID, p.plantNow.Add(at.Sub(p.now)))
		if err != nil {
			continue
		}
		for i := range readings {
			readings[i].Taken = at.UTC()
		}
		take(collector.Poll{Unit: u.ID, Started: at.UTC(), Readings: readings})
	}
}

// commission takes and accepts the baselines, as an engineer would on the
// first day.
func (p *past) commission(begin time.Time) error {
	var units []string
	for _, u := range p.fleet.Units {
		units = append(units, u.ID)
	}
	if err := p.to.Book.Begin(units, fromUs, begin); err != nil {
		return err
	}
	end := begin.Add(commissioned)
	for at := begin; at.Before(end); at = at.Add(firstPolls) {
		p.polls(at, p.to.Book.Observe)
	}
	var ready []string
	for _, u := range units {
		if p.to.Book.Show(u, end).Ready {
			ready = append(ready, u)
		}
	}
	if len(ready) == 0 {
		return nil
	}
	return p.to.Book.Accept(ready, fromUs, "", false, end)
}

func (p *past) poll(at time.Time) {
	p.polls(at, func(poll collector.Poll) {
		p.to.Book.Observe(poll)
		p.to.Trends.Observe(poll)
		if p.to.History == nil {
			return
		}
		of := p.hours[poll.Unit]
		if of == nil {
			of = map[collector.Point][]history.Sample{}
			p.hours[poll.Unit] = of
		}
		for _, r := range poll.Readings {
			if r.Quality == collector.Good && slices.Contains(remembered, r.Point.Quantity) {
				of[r.Point] = append(of[r.Point], history.Sample{Time: at.UTC(), Value: r.Value, Min: r.Value, Max: r.Value, Count: 1})
			}
		}
	})
}

// flush writes the hours that wait.
func (p *past) flush() error {
	if p.to.History == nil {
		return nil
	}
	of := make(map[string][]history.Series, len(p.hours))
	for unit, points := range p.hours {
		for point, samples := range points {
			of[unit] = append(of[unit], history.Series{Point: point, Samples: samples})
		}
	}
	clear(p.hours)
	return p.to.History.WriteHours(of)
}
