package plant

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"lightwell/collector"
	"lightwell/collector/document"
)

// A Fault is something that goes wrong: a kind, a target, and how much of it.
// Exactly one of Unit, Link, Cable and Site is set.
type Fault struct {
	Kind      string
	Unit      string
	Link      string
	Cable     string
	Site      string
	Direction string        // at a link: downlink, uplink or both; "": as the kind says
	Port      string        // which supply
	Point     string        // which reading: optical_receive_power
	Size      float64       // in the kind's unit; 0: as the kind says
	Ramp      time.Duration // time to grow to its size, evenly; 0: as the kind says; negative: a step
	For       time.Duration // how long it lasts; 0: as the kind says; negative: until repaired
}

// Target returns what the fault strikes, as kind/id.
func (f Fault) Target() string {
	switch {
	case f.Unit != "":
		return "unit/" + f.Unit
	case f.Link != "":
		return "link/" + f.Link
	case f.Cable != "":
		return "cable/" + f.Cable
	default:
		return "site/" + f.Site
	}
}

// FaultID names a fault that has been put in.
type FaultID int

// active is a fault with its begin and end.
type active struct {
	Fault
	id         FaultID
	kind       *Kind
	start, end time.Time // zero end: until repaired
	point      collector.Point
	first      string // at a unit: its first supply
	generation int
	since      time.Duration // filled in for a moment
}

// holds tells whether the fault is there at t.
func (f *active) holds(t time.Time) bool {
	return !t.Before(f.start) && (f.end.IsZero() || t.Before(f.end))
}

// strike adds the fault to e when it is there at t.
func (f *active) strike(e *effects, t time.Time) {
	if !f.holds(t) {
		return
	}
	now := *f
	now.since = t.Sub(f.start)
	size := f.Size
	if f.Ramp > 0 && now.since < f.Ramp {
		size *= float64(now.since) / float64(f.Ramp)
	}
	f.kind.strike(e, &now, size)
}

// drying returns 1 until the fault has grown to its size, and then how much
// is left of it when a half dries in every halfLife.
func (f *active) drying(halfLife time.Duration) float64 {
	past := f.since - f.Ramp
	if past <= 0 {
		return 1
	}
	return 1 / (1 + float64(past)/float64(halfLife))
}

// Inject puts a fault in that begins at a plant time, which may lie ahead or
// behind. The error says everything that is wrong with it.
func (p *Plant) Inject(f Fault, start time.Time) (FaultID, error) {
	if faults := p.check(f); len(faults) > 0 {
		errs := make([]error, len(faults))
		for i, wrong := range faults {
			errs[i] = document.Fault{What: wrong.what, Remedy: wrong.remedy}
		}
		return 0, fmt.Errorf("fault %q at %s: %w", f.Kind, f.Target(), errors.Join(errs...))
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.add(f, start), nil
}

// Repair ends a fault at a plant time. It does nothing to a fault that is
// over by then, and an unknown id is an error.
func (p *Plant) Repair(id FaultID, at time.Time) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	all := slices.Clone(p.faults.Load().all)
	i := slices.IndexFunc(all, func(f *active) bool { return f.id == id })
	if i < 0 {
		return fmt.Errorf("repair: no fault %d", id)
	}
	over := *all[i]
	if over.end.IsZero() || at.Before(over.end) {
		over.end = at
	}
	all[i] = &over
	p.faults.Store(newFaultSet(p, all))
	return nil
}

// add puts in a fault that has been checked. The lock is held.
func (p *Plant) add(f Fault, start time.Time) FaultID {
	p.nextID++
	a := p.complete(f, start)
	a.id = p.nextID
	p.faults.Store(newFaultSet(p, append(slices.Clip(p.faults.Load().all), a)))
	return a.id
}

// complete fills in what the kind says.
func (p *Plant) complete(f Fault, start time.Time) *active {
	k := kindOf(f.Kind)
	if f.Size == 0 {
		f.Size = k.Size
	}
	if f.Ramp == 0 {
		f.Ramp = k.Ramp
	}
	f.Ramp = max(f.Ramp, 0)
	if f.For == 0 {
		f.For = k.For
	}
	a := &active{Fault: f, kind: k, start: start}
	if f.For > 0 {
		a.end = start.Add(f.For)
	}
	if f.Point != "" {
		a.point, _ = collector.ParsePoint(f.Point)
	}
	return a
}
