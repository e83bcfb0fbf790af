package drift

import "math"

// A Tally is what a Group has seen; it may be stored and given back.
type Tally struct {
	PointDays float64        `json:"point_days"` // watched by the drift rule
	Drift     [rungs + 1]int `json:"drift"`      // excursions of the drift mirror that reached each rung
	Step      [rungs + 1]int `json:"step"`       // the same of the step mirror
	Mirrors   int            `json:"mirrors"`    // alarms of any mirror
	Settled   int            `json:"settled"`    // commissionings that ended
	LogNoise  float64        `json:"log_noise"`  // sum over them of the logarithm of the noise of a day's value, dB
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
// fleet quieter than the made-up one is judged a little more sharply; at the
// highest a drift is found when about three times as much is lost, a step when
// it is twice as large or lasts twice as long.
const (
	MinScale     = 0.95
	MaxScale     = 3
	MaxStepScale = 2
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
	if g.tally.Observe(t) {
		g.calibrate()
	}
}

// Observe adds what a reading of a member brought to an end. It says whether
// there was more to it than a day without events.
func (a *Tally) Observe(t Turn) bool {
	if t.AtRisk {
		a.PointDays++
	}
	for r := t.drift.from + 1; r <= t.drift.to; r++ {
		a.Drift[r]++
	}
	for r := t.step.from + 1; r <= t.step.to; r++ {
		a.Step[r]++
	}
	for k := MirrorDrift; k <= MirrorIntermittent; k <<= 1 {
		if t.Raised.Has(k) {
			a.Mirrors++
		}
	}
	if t.settled > 0 {
		a.Settled++
		a.LogNoise += math.Log(float64(t.settled))
	}
	return t.settled > 0 || t.drift.to > t.drift.from || t.step.to > t.step.from
}

// Add adds what another tally has seen.
func (a *Tally) Add(o Tally) {
	a.PointDays += o.PointDays
	for r := range a.Drift {
		a.Drift[r] += o.Drift[r]
		a.Step[r] += o.Step[r]
	}
	a.Mirrors += o.Mirrors
	a.Settled += o.Settled
	a.LogNoise += o.LogNoise
}

// FalseAlarms is the running estimate of the rate of false alarms: those of
// the mirrors, per 100 point-years; NaN while nothing was watched.
func (g *Group) FalseAlarms() float64 { return g.tally.FalseAlarms() }

// FalseAlarms returns the alarms of the mirrors per 100 point-years, NaN while
// nothing was watched.
func (a *Tally) FalseAlarms() float64 {
	if a.PointDays == 0 {
		return math.NaN()
	}
	return float64(a.Mirrors) / a.PointDays * 365.25 * 100
}

// A reference is what a mirror does in a fleet of the noise that the shipped
// settings were measured on: so many excursions to a height, per point-year,
// and how fast they get fewer above it.
type reference struct{ height, rate, decay float64 }

// Measured on 1,170 point-years of drifttest; heights are parts of a threshold.
var (
	driftReference = reference{0.626, 0.153, 10.2}
	stepReference  = reference{0.603, 0.055, 8.7}
)

const (
	noiseDoubt  = 1.08 // fleets differ so far in it without differing in false alarms
	priorYears  = 40   // point-years that what is expected from noise alone counts for
	priorPoints = 5
)

// calibrate sets the factors. Before there are excursions the noise seen at
// commissioning tells what to expect; then the mirror does.
func (g *Group) calibrate() {
	expected := 1.0
	if n := float64(g.tally.Settled); n > 0 {
		ratio := math.Exp((g.tally.LogNoise - n*math.Log(usualNoise)) / (n + priorPoints))
		expected = max(1, ratio/noiseDoubt) * min(1, ratio*noiseDoubt)
	}
	years := g.tally.PointDays / 365.25
	g.settings.DriftScale = g.shipped.DriftScale * driftReference.scale(g.tally.Drift[:], years, expected, MaxScale)
	g.settings.StepScale = g.shipped.StepScale * stepReference.scale(g.tally.Step[:], years, expected, MaxStepScale)
}

// scale compares the height that excursions reach as often as in the reference
// with the height there. Common excursions tell it sooner than rare alarms.
func (r reference) scale(counts []int, years, expected, most float64) float32 {
	below, above := 0.0, 0.0 // ln(rate/r.rate) at the rungs around the height
	height := float64(rungHeights[1])
	for i := 1; i <= rungs; i++ {
		h := float64(rungHeights[i])
		prior := r.rate * math.Exp(-r.decay*(h/expected-r.height))
		above = math.Log((float64(counts[i]) + priorYears*prior) / (years + priorYears) / r.rate)
		if above <= 0 {
			if i > 1 {
				height += (h - height) * below / (below - above)
			}
			break
		}
		below, height = above, h
	}
	return float32(max(MinScale, min(height/r.height, most)))
}
