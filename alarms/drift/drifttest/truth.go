package drifttest

// Thermal returns the true share of temperature in the readings, dB per °C.
func (p *Point) Thermal() float64 { return p.thermal }
