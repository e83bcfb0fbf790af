package baseline

import (
	"maps"
	"slices"

	"lightwell/collector"
)

// A shelf is all records and refinements and what is in force of them; it does
// not change after it is made, so that readers need no lock and no copy.
type shelf struct {
	records     map[string][]Record                  // by unit, oldest first
	refinements map[string][]Refinement              // likewise
	inForce     map[string]map[collector.Point]Level // by unit
}

// newShelf sorts records by unit. The newest of a unit is in force while the
// fleet's unit is of the model it was captured on.
func newShelf(records []Record, refinements []Refinement, fleet *collector.Fleet) *shelf {
	s := &shelf{map[string][]Record{}, map[string][]Refinement{}, map[string]map[collector.Point]Level{}}
	for _, r := range records {
		s.records[r.Unit] = append(s.records[r.Unit], r)
	}
	for _, r := range refinements {
		s.refinements[r.Unit] = append(s.refinements[r.Unit], r)
	}
	for id := range s.records {
		s.enforce(id, fleet)
	}
	return s
}

// newest returns the version that would be in force.
func (s *shelf) newest(unit string) (Record, bool) {
	of := s.records[unit]
	if len(of) == 0 {
		return Record{}, false
	}
	return of[len(of)-1], true
}

func (s *shelf) enforce(unit string, fleet *collector.Fleet) {
	r, ok := s.newest(unit)
	if u, known := fleet.Unit(unit); ok && known && u.Equipment.Model == r.Model {
		s.inForce[unit] = refined(r, s.refinements[unit])
	}
}

// with returns a shelf with refinements added.
func (s *shelf) with(added []Refinement, fleet *collector.Fleet) *shelf {
	out := &shelf{s.records, maps.Clone(s.refinements), maps.Clone(s.inForce)}
	for _, r := range added {
		out.refinements[r.Unit] = append(slices.Clip(out.refinements[r.Unit]), r)
		out.enforce(r.Unit, fleet)
	}
	return out
}
