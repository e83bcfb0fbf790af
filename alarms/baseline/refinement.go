package baseline

import (
	"maps"
	"slices"
	"time"

	"lightwell/collector"
)

// A Refinement is what was learnt of an accepted version afterwards: spread,
// temperature coefficient and phase of its levels. It changes no value that a
// person accepted, and is kept beside the version as long as that: what was in
// force at any time can be told.
type Refinement struct {
	Unit    string                    `json:"unit"`
	Version int                       `json:"version"` // of the record it belongs to
	At      time.Time                 `json:"at"`
	Levels  map[collector.Point]Level `json:"levels"` // those that changed
}

// refined returns the levels of a record with its refinements, oldest first.
func refined(r Record, by []Refinement) map[collector.Point]Level {
	out := maps.Clone(r.Levels)
	for _, f := range by {
		for p, level := range f.Levels {
			accepted, ok := r.Levels[p]
			if f.Version != r.Version || !ok {
				continue
			}
			level.Value, level.Quantum, level.Samples, level.CapturedAt = accepted.Value, accepted.Quantum, accepted.Samples, accepted.CapturedAt
			out[p] = level
		}
	}
	return out
}

// final tells whether nothing is left to learn.
func final(levels map[collector.Point]Level) bool {
	for _, l := range levels {
		if l.Phase != Final {
			return false
		}
	}
	return true
}

// copiesOf returns refinements that share nothing with rs.
func copiesOf(rs []Refinement) []Refinement {
	out := slices.Clone(rs)
	for i := range out {
		out[i].Levels = maps.Clone(out[i].Levels)
	}
	return out
}

// Learning is how far the levels of a unit are.
type Learning struct {
	Phase  Phase           `json:"phase"` // of the level that is least far
	Points []PointLearning `json:"points"`
}

var phases = []Phase{Visit, Provisional, Final}

// behind returns the phase that comes first.
func behind(a, b Phase) Phase {
	return phases[min(slices.Index(phases, a), slices.Index(phases, b))]
}
