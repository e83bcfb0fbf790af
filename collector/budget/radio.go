package budget

import "math"

// Physical constants (SI, exact since 2019) and the noise reference.
const (
	boltzmann = 1.380649e-23
	charge    = 1.602176634e-19
	RefTempK  = 290.0 // T0 of noise factors
	loadOhm   = 50.0
	ampPerMA  = 1e-3
)

// LinkGain returns the RF gain of a directly modulated link, matched at both
// ends with equal resistance:
//
//	G = 20·log10(s·r) − 2·L        s W/A in fibre, r A/W, L optical dB
//
// One optical decibel costs two RF decibels, because RF power follows the
// square of the light (Federal Standard 1037C, "transfer function").
func LinkGain(slopeWPerA, responsivityAPerW float64, loss DB) DB {
	return 2*Decibels(slopeWPerA*responsivityAPerW) - RFChange(loss)
}

// RFChange returns what a change of optical level costs at the RF output.
func RFChange(optical DB) DB { return 2 * optical }

// SlopeChange returns the RF change when the slope efficiency is multiplied
// by factor at unchanged optical power: RF follows the slope squared.
func SlopeChange(factor float64) DB { return 2 * Decibels(factor) }

// ThermalDensity returns k·T as a density in dBm/Hz.
func ThermalDensity(kelvin float64) DBm { return density(boltzmann * kelvin) }

// Noise says what makes the noise behind a link.
type Noise struct {
	SourceK        float64 // noise temperature at the laser's input, K
	Gain           DB      // RF gain of the link
	CurrentMA      float64 // photocurrent
	RIN            DB      // relative intensity noise, dB/Hz: −155
	ReceiverFactor float64 // noise factor of the electrical receiver, linear, at least 1
}

// Density returns the noise density at the link's output in dBm/Hz:
//
//	N = g·k·T_s + kT0·F_r + 2·q·I·R + RIN·I²·R
func (n Noise) Density() DBm {
	i := n.CurrentMA * ampPerMA
	return density(n.Gain.Ratio()*boltzmann*n.SourceK + boltzmann*RefTempK*n.ReceiverFactor +
		2*charge*i*loadOhm + n.RIN.Ratio()*i*i*loadOhm)
}

// RINChange returns how much laser noise grows when the current goes from
// fromBias over fromThreshold to bias over threshold (all mA):
//
//	RIN ~ (I_b/I_th − 1)⁻³        (Keiser, from memory)
//
// The rule ends close to threshold; below 5 % above it the change stays.
func RINChange(bias, threshold, fromBias, fromThreshold float64) DB {
	above := func(b, th float64) float64 { return max(b/th-1, 0.05) }
	return 3 * Decibels(above(fromBias, fromThreshold)/above(bias, threshold))
}

func density(wattPerHz float64) DBm { return DBm{10*math.Log10(wattPerHz) + 30} }
