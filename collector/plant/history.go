package plant

import (
	"slices"
	"time"
)

// faultSet is every fault so far, sorted by what it strikes. It does not
// change: a new fault makes a new set.
type faultSet struct {
	all    []*active
	units  []struck
	fibres [][]active
	bounds []time.Time // when something changes, in order
}

// struck is what befell one unit.
type struck struct {
	faults   []active
	off      []span      // times without power, in order
	restarts []time.Time // of the agent, in order
	natures  []nature    // of the boxes that came after the first
}

// span is a stretch of time; zero end: it goes on.
type span struct{ start, end time.Time }

func newFaultSet(p *Plant, all []*active) *faultSet {
	s := &faultSet{all: all, units: make([]struck, len(p.units)), fibres: make([][]active, len(p.fibres))}
	for _, f := range all {
		s.bounds = f.bounds(s.bounds)
		for _, i := range p.unitsOf(f) {
			u := p.units[i]
			at := *f
			if len(u.supplies) > 0 {
				at.first = u.supplies[0]
			}
			s.units[i].faults = append(s.units[i].faults, at)
		}
		for _, i := range p.fibresOf(f) {
			s.fibres[i] = append(s.fibres[i], *f)
		}
	}
	slices.SortFunc(s.bounds, time.Time.Compare)
	for i := range s.units {
		s.units[i].settle(p.units[i])
	}
	return s
}

// unitsOf returns the units that a fault strikes.
func (p *Plant) unitsOf(f *active) []int {
	if f.Unit != "" {
		return []int{p.byUnit[f.Unit]}
	}
	var struck []int
	for _, u := range p.fleet.UnitsAt(f.Site) {
		if f.kind.Role == "" || u.Role == f.kind.Role {
			struck = append(struck, p.byUnit[u.ID])
		}
	}
	return struck
}

// fibresOf returns the fibres that a fault strikes.
func (p *Plant) fibresOf(f *active) []int {
	var struck []int
	if l, ok := p.byLink[f.Link]; ok {
		both := f.Direction == "both" || f.Direction == "" && !f.kind.OneWay
		if both || f.Direction != "uplink" {
			struck = append(struck, p.links[l].down)
		}
		if both || f.Direction == "uplink" {
			struck = append(struck, p.links[l].up)
		}
	}
	for _, fibre := range p.fibres {
		if f.Cable != "" && fibre.path.Cable == f.Cable {
			struck = append(struck, fibre.index)
		}
	}
	return struck
}

// bounds adds the times at which the fault changes.
func (f *active) bounds(to []time.Time) []time.Time {
	to = append(to, f.start)
	if f.Ramp > 0 {
		to = append(to, f.start.Add(f.Ramp))
	}
	if f.kind.outage > 0 {
		to = append(to, f.start.Add(f.Ramp+f.kind.outage))
	}
	if !f.end.IsZero() {
		to = append(to, f.end)
	}
	return to
}

// settle works out what depends on the order of the faults.
func (s *struck) settle(u *unit) {
	slices.SortStableFunc(s.faults, func(a, b active) int { return a.start.Compare(b.start) })
	var bounds []time.Time
	for i := range s.faults {
		f := &s.faults[i]
		switch {
		case !f.kind.power:
			continue
		case f.Kind == "agent-restart" && !f.end.IsZero():
			s.restarts = append(s.restarts, f.end)
		case f.Kind == "unit-exchanged":
			f.generation = len(s.natures) + 1
			s.natures = append(s.natures, newNature(u, f.generation))
			s.restarts = append(s.restarts, f.start)
			if !f.end.IsZero() {
				s.restarts = append(s.restarts, f.end)
			}
		}
		bounds = f.bounds(bounds)
	}
	slices.SortFunc(bounds, time.Time.Compare)
	slices.SortFunc(s.restarts, time.Time.Compare)
	s.cuts(u, bounds)
}

// cuts finds the times without power between the bounds of the faults.
func (s *struck) cuts(u *unit, bounds []time.Time) {
	dark := false
	for _, t := range bounds {
		off := s.without(u, t)
		if off && !dark {
			s.off = append(s.off, span{start: t})
		} else if !off && dark {
			s.off[len(s.off)-1].end = t
		}
		dark = off
	}
}

// without tells whether the unit has no power at t.
func (s *struck) without(u *unit, t time.Time) bool {
	var e effects
	for i := range s.faults {
		if s.faults[i].kind.power {
			s.faults[i].strike(&e, t)
		}
	}
	if e.off {
		return true
	}
	for _, port := range u.supplies {
		if !slices.Contains(e.lost, port) {
			return false
		}
	}
	return len(u.supplies) > 0
}

// nature returns the nature of the box of that generation.
func (s *struck) nature(u *unit, generation int) *nature {
	if generation == 0 {
		return &u.nature
	}
	return &s.natures[generation-1]
}

// power returns whether the unit has power at t, and the last time without:
// false when there was none.
func (s *struck) power(t time.Time) (on bool, last span, had bool) {
	on = true
	for _, cut := range s.off {
		if cut.start.After(t) {
			break
		}
		last, had = cut, true
		on = !cut.end.IsZero() && !cut.end.After(t)
	}
	return on, last, had
}

// agentSince returns when the agent that runs at t began.
func (s *struck) agentSince(p *Plant, n *nature, t time.Time) time.Time {
	since := p.config.Start.Add(-n.age)
	for _, r := range s.restarts {
		if !r.After(t) && r.After(since) {
			since = r
		}
	}
	if on, last, had := s.power(t); had && on && last.end.After(since) {
		since = last.end
	}
	return since
}
