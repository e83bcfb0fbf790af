package plant

import (
	"context"
	"fmt"
	"slices"
	"time"

	"lightwell/collector/document"
)

// A Scenario is a list of faults and when they begin. As a file it is YAML,
// times in plant time since the start of the plant:
//
//   - {at: 30m, fault: cable-cut, cable: quay-riser, for: 20m, say: "a digger cuts the riser"}
//   - {at: 2h, fault: connector-dirty, link: quay-a, direction: uplink, size: 1.8, every: 6h, times: 4}
//
// Keys: at, fault (a name of Kinds), one of unit, link, cable and site, and as
// the kind needs: direction, port, point, size, ramp, for; say and then, lines
// for whoever watches when the fault begins and ends; every and times, to
// repeat it. ramp: 0s makes a step of a kind that usually grows.
type Scenario struct {
	entries []entry
}

// MaxTimes is how often a fault of a scenario can be repeated.
const MaxTimes = 1000

type entry struct {
	At        document.Duration  `yaml:"at,required"`
	Fault     string             `yaml:"fault,required"`
	Unit      string             `yaml:"unit"`
	Link      string             `yaml:"link"`
	Cable     string             `yaml:"cable"`
	Site      string             `yaml:"site"`
	Direction string             `yaml:"direction"`
	Port      string             `yaml:"port"`
	Point     string             `yaml:"point"`
	Size      float64            `yaml:"size"`
	Ramp      *document.Duration `yaml:"ramp"`
	For       document.Duration  `yaml:"for"`
	Say       string             `yaml:"say"`
	Then      string             `yaml:"then"`
	Every     document.Duration  `yaml:"every"`
	Times     int                `yaml:"times"`
}

func (e entry) fault() Fault {
	f := Fault{Kind: e.Fault, Unit: e.Unit, Link: e.Link, Cable: e.Cable, Site: e.Site, Direction: e.Direction,
		Port: e.Port, Point: e.Point, Size: e.Size, For: time.Duration(e.For)}
	if e.Ramp != nil {
		f.Ramp = time.Duration(*e.Ramp)
		if f.Ramp == 0 {
			f.Ramp = -1
		}
	}
	return f
}

// ParseScenario reads a scenario for this plant. The error is
// document.Faults: everything that is wrong, with its place and a remedy.
func (p *Plant) ParseScenario(name string, data []byte) (Scenario, error) {
	file, faults := document.Parse(name, data)
	if len(faults) > 0 {
		return Scenario{}, faults.Err()
	}
	var s Scenario
	faults = file.Decode(&s.entries)
	for i, e := range s.entries {
		at := fmt.Sprintf("$[%d]", i)
		report := func(w wrong) {
			faults = append(faults, file.Fault(at+"."+w.key, w.remedy, "entry %d: %s", i+1, w.what))
		}
		for _, w := range e.check() {
			report(w)
		}
		if e.Fault != "" {
			for _, w := range p.check(e.fault()) {
				report(w)
			}
		}
	}
	if len(faults) > 0 {
		return Scenario{}, faults.Err()
	}
	return s, nil
}

// longest is how long anything in a scenario may take: times stay far within
// what a time.Duration holds.
const longest = 50 * 365 * day

func (e entry) check() []wrong {
	var all []wrong
	var ramp document.Duration
	if e.Ramp != nil {
		ramp = *e.Ramp
	}
	for i, span := range []document.Duration{e.At, e.For, e.Every, ramp} {
		if span < 0 || time.Duration(span) > longest {
			key := []string{"at", "for", "every", "ramp"}[i]
			all = append(all, wrong{key, fmt.Sprintf("%s %s is not within 0s to 50 years", key, span), "use a time within it"})
		}
	}
	switch {
	case e.Times < 0 || e.Times > MaxTimes:
		all = append(all, wrong{"times", fmt.Sprintf("times %d is not within 1 to %d", e.Times, MaxTimes), "leave it out for once"})
	case e.Times > 1 && e.Every <= 0:
		all = append(all, wrong{"times", "repeated without an interval", "add every"})
	case e.Every != 0 && e.Times < 2:
		all = append(all, wrong{"every", "an interval without repetition", "add times, 2 or more"})
	case float64(e.Times)*float64(e.Every) > float64(longest):
		all = append(all, wrong{"every", "repeated for more than 50 years", "use a shorter interval"})
	}
	return all
}

// An Event is the begin or the end of a fault in a scenario.
type Event struct {
	At   time.Duration // plant time since the start of the plant
	Over bool          // the fault ends
	Kind string
	On   string // what it strikes, as kind/id
	Text string // what the scenario says of it; may be empty
}

// Events returns the begin and the end of every fault in order of time.
func (s Scenario) Events() []Event {
	var all []Event
	for _, e := range s.entries {
		f := e.fault()
		lasts := f.For
		if k := kindOf(f.Kind); lasts == 0 && k != nil {
			lasts = k.For
		}
		for n := range max(1, e.Times) {
			at := time.Duration(e.At) + time.Duration(n)*time.Duration(e.Every)
			all = append(all, Event{At: at, Kind: f.Kind, On: f.Target(), Text: e.Say})
			if lasts > 0 {
				all = append(all, Event{At: at + lasts, Over: true, Kind: f.Kind, On: f.Target(), Text: e.Then})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b Event) int { return int(min(1, max(-1, a.At-b.At))) })
	return all
}

// Between returns the events from from, inclusive, to to, exclusive.
func (s Scenario) Between(from, to time.Duration) []Event {
	return slices.DeleteFunc(s.Events(), func(e Event) bool { return e.At < from || e.At >= to })
}

// Play puts in the faults of a scenario that this plant has parsed, to happen
// in their time.
func (p *Plant) Play(s Scenario) {
	p.mu.Lock()
	defer p.mu.Unlock()
	all := slices.Clone(p.faults.Load().all)
	for _, e := range s.entries {
		for n := range max(1, e.Times) {
			p.nextID++
			a := p.complete(e.fault(), p.config.Start.Add(time.Duration(e.At)+time.Duration(n)*time.Duration(e.Every)))
			a.id = p.nextID
			all = append(all, a)
		}
	}
	p.faults.Store(newFaultSet(p, all))
}

// Run tells of each event of a scenario when its time comes, the past ones at
// once, until there are no more or ctx ends. It returns nil.
func (p *Plant) Run(ctx context.Context, s Scenario, tell func(Event)) error {
	for _, e := range s.Events() {
		timer := time.NewTimer(time.Until(p.wall(e.At)))
		select {
		case <-ctx.Done():
			timer.Stop()
			return nil
		case <-timer.C:
			tell(e)
		}
	}
	return nil
}
