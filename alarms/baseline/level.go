// Package baseline keeps what each point read at commissioning. A baseline is
// captured from readings, accepted by a person, and from then on only
// replaced by a newer version, never changed: every version is kept with who
// accepted it, when and why. The package compares readings with it at equal
// temperature. Its data are the readings of package collector.
package baseline

import "time"

// Level is the baseline of one point: what it read at commissioning.
type Level struct {
	Value      float64   `json:"value"`                // robust centre, in the quantity's unit
	Spread     float64   `json:"spread"`               // robust standard deviation, floored at the quantum; same unit
	Quantum    float64   `json:"quantum"`              // smallest step seen between readings; 0: unknown
	TempRefC   float64   `json:"temp_ref_c"`           // temperature the value belongs to
	TempCoeff  float64   `json:"temp_coeff,omitempty"` // units per kelvin; 0: not known
	Samples    int       `json:"samples"`
	CapturedAt time.Time `json:"captured_at"`
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
