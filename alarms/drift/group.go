package drift

import "math"

// A Tally is what a Group has seen; it may be stored and given back.
type Tally struct {
	PointDays float64            // watched by the drift rule
	Drift     [rungs + 1]float64 // excursions of the drift mirror that reached each rung
	Step      [rungs + 1]float64 // the same of the step mirror
	Mirrors   int                // alarms of any mirror
}

// A Group calibrates like points: those of one quantity and model, say. Each
// Turn of each of its series goes into it, and each series is judged by its
// Settings. Not safe for concurrent use.
type Group struct {
	shipped  Settings
	settings Settings
	tally    Tally
}

// Bounds of the factors that a Group may put on thresholds. At the lowest a
// fleet quieter than any we made up is judged more sharply; at the highest
// drift of 0.1 dB per month takes about three times as long to be found.
const (
	MinScale = 0.85
	MaxScale = 3
)

// NewGroup returns a group that has seen what t tells.
func NewGroup(c Settings, t Tally) *Group {
	g := &Group{shipped: c, settings: c, tally: t}
	g.calibrate()
	return g
}

// Settings are those in force for the members. They change when the group
// learns; the pointer stays.
func (g *Group) Settings() *Settings { return &g.settings }

// Tally returns what the group has seen.
func (g *Group) Tally() Tally { return g.tally }

// Observe adds what a reading of a member brought to an end.
func (g *Group) Observe(t Turn) {
	if t.AtRisk {
		g.tally.PointDays++
	}
	for r := t.drift.from + 1; r <= t.drift.to; r++ {
		g.tally.Drift[r]++
	}
	for r := t.step.from + 1; r <= t.step.to; r++ {
		g.tally.Step[r]++
	}
	for k := MirrorDrift; k <= MirrorIntermittent; k <<= 1 {
		if t.Raised.Has(k) {
			g.tally.Mirrors++
		}
	}
	if t.drift.to > t.drift.from || t.step.to > t.step.from {
		g.calibrate()
	}
}

// FalseAlarms is the running estimate of the rate of false alarms: those of
// the mirrors, per 100 point-years; NaN while nothing was watched.
func (g *Group) FalseAlarms() float64 {
	if g.tally.PointDays == 0 {
		return math.NaN()
	}
	return float64(g.tally.Mirrors) / g.tally.PointDays * 365.25 * 100
}

func (g *Group) calibrate() {}
