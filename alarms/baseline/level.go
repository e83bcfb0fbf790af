package baseline

import "time"

// Level is the baseline of one point: what it read at commissioning, and what
// was learnt of it since. Value and CapturedAt are what a person accepted;
// nothing but another version changes them.
type Level struct {
	Value      float64   `json:"value"`                // robust centre, in the quantity's unit
	Spread     float64   `json:"spread"`               // robust standard deviation of single readings, floored at the quantum; same unit
	Quantum    float64   `json:"quantum"`              // smallest step seen between readings; 0: unknown
	TempRefC   float64   `json:"temp_ref_c"`           // what the temperature that explains the point was then
	TempCoeff  float64   `json:"temp_coeff,omitempty"` // units per kelvin; 0: not known
	Samples    int       `json:"samples"`
	CapturedAt time.Time `json:"captured_at"`

	Phase       Phase     `json:"phase,omitempty"`         // empty: of the visit alone
	TempCoeffSE float64   `json:"temp_coeff_se,omitempty"` // standard error of TempCoeff
	TempSpanC   float64   `json:"temp_span_c,omitempty"`   // between the coldest and the hottest hour it was learnt from
	TempSource  Source    `json:"temp_source,omitempty"`   // which temperature explains the point; empty: none is known to
	TempUnit    string    `json:"temp_unit,omitempty"`     // unit whose case that is; empty: its own
	Settled     float64   `json:"settled,omitempty"`       // median of the hours learnt from, at TempRefC
	Hours       int       `json:"hours,omitempty"`         // that it was learnt from
	LearntAt    time.Time `json:"learnt_at,omitzero"`
	Note        string    `json:"note,omitempty"` // what speaks against a part of it, for people
}

// Deviation returns reading minus baseline at equal temperature, in the
// quantity's unit. tempC is the temperature that explains the point; with
// hasTemp false no compensation is made.
func (l Level) Deviation(value, tempC float64, hasTemp bool) float64 {
	d := value - l.Value
	if hasTemp {
		d -= l.TempCoeff * (tempC - l.TempRefC)
	}
	return d
}

// A Phase is how well a level is known.
type Phase string

// Phases in their order. A level is in force from the first.
const (
	Visit       Phase = ""            // ten polls or so, taken while somebody was there
	Provisional Phase = "provisional" // a day: spread, and a first temperature coefficient
	Final       Phase = "final"       // two weeks that the statistics accept
)

// Title returns the phase for people.
func (p Phase) Title() string {
	if p == Visit {
		return "of the visit"
	}
	return string(p)
}

// A Source is the temperature that explains a point.
type Source string

// The sources.
const (
	OwnCase Source = "own case" // or that of its port, where the unit reads one
	FarEnd  Source = "far end"  // case of the unit at the other end of the fibre
	Outdoor Source = "outdoor"  // case of an outdoor unit of the site
)
