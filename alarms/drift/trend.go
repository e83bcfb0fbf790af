package drift

import (
	"math"
	"time"
)

// A Phase is how far the baseline of a series is.
type Phase uint8

// Phases in their order.
const (
	Empty       Phase = iota // no reading yet
	Prior                    // under a day: nothing is known of the point
	Provisional              // a baseline of a day or more: steps and bursts are found
	Final                    // accepted by the statistics: drift is found too
	Doubtful                 // in force after 28 days although the statistics do not accept it
)

// String returns the phase as people read it.
func (p Phase) String() string {
	return [...]string{"no readings", "first day", "provisional", "final", "doubtful"}[min(p, Doubtful)]
}

// Kinds is a set of alarms of a series.
type Kinds uint8

// The kinds. Those of the mirror are false by construction.
const (
	Drift Kinds = 1 << iota
	Step
	Intermittent
	MirrorDrift
	MirrorStep
	MirrorIntermittent
	visited // a visit was recorded: the first baseline stays
)

// Faults are the kinds that are told to people.
const Faults = Drift | Step | Intermittent

// Has tells whether all of k are in the set.
func (k Kinds) Has(of Kinds) bool { return k&of == of }

// A Turn is what a reading brought to an end.
type Turn struct {
	Hour, Day       bool
	Raised, Cleared Kinds
	Worse           Kinds   // stands, and has come half as far again since it was last told: a fault may have come upon a false alarm
	Measured        bool    // the day that ended had hours enough: Trend.DayDB is new
	AtRisk          bool    // the day that ended counts as watched, for a Group
	drift, step     ascent  // of the mirrors, for a Group
	settled         float32 // noise of a day's value, when commissioning ends; for a Group
}

// A Trend is what a series says of its point.
type Trend struct {
	Phase                    Phase
	Baseline                 float64 // dBm or dB at ReferenceC; of the first day while provisional
	ReferenceC               float64 // NaN: no temperature
	FirstBaseline            float64 // as commissioned
	Days                     int     // of readings since commissioning or the last visit
	LostDB, LostSE           float64 // since the baseline, steps included
	DayDB                    float64 // loss by the last full day alone, at reference temperature: what Predict wants
	SinceFirstDB             float64 // lost since the first baseline, offsets made at visits apart
	SlopeDBPerMonth, SlopeSE float64 // too slow, and too sure, while a fault is young: the filter follows with care; forecasts take Predict
	TempCoeff, TempCoeffSE   float64 // dB of reading per °C
	Drift, Step,             // alarms that stand
	Intermittent bool
	Since        time.Time // when the oldest of them began; zero: none
	StepDB       float64   // part of LostDB that came in steps
	BurstsPerDay float64   // excursions begun today so far
	NoiseDB      float64   // standard deviation of single readings, as normal noise would have it
	Mirror       int       // alarms of the mirror so far
}

const monthDays = 30.4375 // of the month that slopes are given in

// Trend returns what the series says now.
func (s *Series) Trend(*Settings) Trend {
	t := Trend{
		Phase: s.phase, Baseline: float64(s.origin), ReferenceC: float64(s.tref), FirstBaseline: float64(s.first), Days: int(s.age),
		LostDB: float64(s.f.level), LostSE: root(s.f.p00), DayDB: float64(s.yesterday), SinceFirstDB: float64(s.before + s.f.level),
		SlopeDBPerMonth: float64(s.f.slope) * monthDays, SlopeSE: root(s.f.p11) * monthDays,
		TempCoeff: -float64(s.f.beta), TempCoeffSE: root(s.f.p22),
		Drift: s.active.Has(Drift), Step: s.active.Has(Step), Intermittent: s.active.Has(Intermittent),
		StepDB: float64(s.steps), BurstsPerDay: float64(s.deep.today) / 2, NoiseDB: 1.2533 * float64(s.spread), Mirror: int(s.mirrors),
	}
	if s.phase == Prior { // the filter still holds what was lost before the visit
		t.LostDB, t.SinceFirstDB = 0, float64(s.before)
	}
	if s.active&Faults != 0 {
		t.Since = time.Unix(int64(s.since)*hourSeconds, 0).UTC()
	}
	return t
}

func root(v float32) float64 { return math.Sqrt(max(0, float64(v))) }
