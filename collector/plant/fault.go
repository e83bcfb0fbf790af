package plant

import (
	"errors"
	"fmt"
	"slices"
	"strings"
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

// wrong is one thing wrong with a fault: the key it is at, and a remedy.
type wrong struct{ key, what, remedy string }

// check returns everything that is wrong with f in this plant.
func (p *Plant) check(f Fault) []wrong {
	k := kindOf(f.Kind)
	if k == nil {
		names := make([]string, len(kinds))
		for i := range kinds {
			names[i] = kinds[i].Name
		}
		return []wrong{{"fault", fmt.Sprintf("unknown fault %q", f.Kind), document.Nearest(f.Kind, names)}}
	}
	all := p.checkTarget(f, k)
	switch {
	case f.Direction != "" && f.Link == "":
		all = append(all, wrong{"direction", "a direction needs a link", "name a link, or remove it"})
	case !slices.Contains([]string{"", "downlink", "uplink", "both"}, f.Direction):
		all = append(all, wrong{"direction", fmt.Sprintf("unknown direction %q", f.Direction), "use downlink, uplink or both"})
	}
	switch {
	case f.Size != 0 && k.Unit == "":
		all = append(all, wrong{"size", k.Name + " has no size", "remove it"})
	case f.Size != 0 && !(f.Size >= k.Min && f.Size <= k.Max):
		all = append(all, wrong{"size", fmt.Sprintf("size %g is not within %g to %g %s", f.Size, k.Min, k.Max, k.Unit), "use a size within the range"})
	}
	return append(all, p.checkNeeds(f, k)...)
}

// targets returns what f names, as key and value.
func (f Fault) targets() [][2]string {
	var named [][2]string
	for _, t := range [][2]string{{"unit", f.Unit}, {"link", f.Link}, {"cable", f.Cable}, {"site", f.Site}} {
		if t[1] != "" {
			named = append(named, t)
		}
	}
	return named
}

var targetNames = map[string]Target{"unit": AtUnit, "link": AtLink, "cable": AtCable, "site": AtSite}

// String returns the words of the targets: unit or site.
func (t Target) String() string {
	var names []string
	for _, name := range []string{"unit", "link", "cable", "site"} {
		if t&targetNames[name] != 0 {
			names = append(names, name)
		}
	}
	return strings.Join(names, " or ")
}

func (p *Plant) checkTarget(f Fault, k *Kind) []wrong {
	named := f.targets()
	if len(named) != 1 {
		return []wrong{{"fault", fmt.Sprintf("%d targets named", len(named)), "name one " + k.Targets.String()}}
	}
	key, id := named[0][0], named[0][1]
	if targetNames[key]&k.Targets == 0 {
		return []wrong{{key, fmt.Sprintf("%s cannot strike a %s", k.Name, key), "name a " + k.Targets.String()}}
	}
	var known []string
	switch key {
	case "unit":
		for _, u := range p.fleet.Units {
			known = append(known, u.ID)
		}
	case "link":
		for _, l := range p.fleet.Links {
			known = append(known, l.ID)
		}
	case "cable":
		for _, c := range p.fleet.Cables {
			known = append(known, c.ID)
		}
	default:
		for _, s := range p.fleet.Sites {
			known = append(known, s.ID)
		}
	}
	if !slices.Contains(known, id) {
		return []wrong{{key, fmt.Sprintf("unknown %s %q", key, id), document.Nearest(id, known)}}
	}
	if u, ok := p.byUnit[f.Unit]; ok && k.Role != "" && p.units[u].info.Role != k.Role {
		return []wrong{{key, fmt.Sprintf("%s strikes only %s units", k.Name, k.Role), "name an " + string(k.Role) + " unit"}}
	}
	return nil
}

// checkNeeds checks the port of a supply and the point of a monitor.
func (p *Plant) checkNeeds(f Fault, k *Kind) []wrong {
	var all []wrong
	if k.Needs != "port" && f.Port != "" {
		all = append(all, wrong{"port", k.Name + " strikes no single supply", "remove it"})
	}
	if k.Needs != "point" && f.Point != "" {
		all = append(all, wrong{"point", k.Name + " strikes no single reading", "remove it"})
	}
	i, ok := p.byUnit[f.Unit]
	if !ok {
		return all
	}
	u := p.units[i]
	if k.Needs == "port" && !slices.Contains(u.supplies, f.Port) {
		all = append(all, wrong{"port", fmt.Sprintf("unit %q has no supply %q", u.id, f.Port), document.Nearest(f.Port, u.supplies)})
	}
	if k.Needs == "point" {
		var points []string
		for _, pt := range u.points {
			points = append(points, pt.codec.Point.String())
		}
		if !slices.Contains(points, f.Point) {
			all = append(all, wrong{"point", fmt.Sprintf("unit %q has no reading %q", u.id, f.Point), document.Nearest(f.Point, points)})
		}
	}
	return all
}
