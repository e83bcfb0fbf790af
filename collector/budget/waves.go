package budget

import "math"

// FreeSpace returns the loss between isotropic antennas:
//
//	L = 20·log10(4·π·d·f/c) = 32.448 + 20·log10(f_MHz) + 20·log10(d_km)
//
// (ITU-R P.525, which rounds the constant to 32.4). Valid beyond 2·D²/λ.
func FreeSpace(megahertz, km float64) DB {
	return 2 * Decibels(4*math.Pi*km*1e3*megahertz*1e6/lightSpeed)
}

// Isolation returns what lies between two antennas with their gains towards
// each other: the loss of free space less both gains.
func Isolation(megahertz, metres float64, gains ...DB) DB {
	loss := FreeSpace(megahertz, metres/1e3)
	for _, g := range gains {
		loss -= g
	}
	return loss
}

// LoopRipple returns the ripple, peak to peak, that a repeater makes whose
// antennas hear each other with a margin of isolation over gain:
//
//	20·log10((1 + u)/(1 − u)), u = 10^(−M/20)
//
// 15 dB of margin or more are usual, 10 dB the floor (common practice; 3GPP TR
// 25.956 clause 5.1.1 treats it). Without margin it oscillates: +Inf.
func LoopRipple(margin DB) DB {
	u := math.Sqrt((-margin).Ratio())
	if u >= 1 {
		return DB(math.Inf(1))
	}
	return 2 * Decibels((1+u)/(1-u))
}

// A Coax is a class of coaxial cable.
type Coax struct {
	Class  int     // name of the class
	MM     float64 // outer diameter
	k1, k2 float64
}

// Coaxes are the usual classes. 240 and 400: a makers' sheet as quoted in a
// public radio-physics code base; the others from memory.
func Coaxes() []Coax {
	return []Coax{
		{200, 5, 0.320900, 0.000330}, {240, 6, 0.242080, 0.000330}, {400, 10, 0.122290, 0.000260},
		{600, 15, 0.075550, 0.000260}, {900, 22, 0.051770, 0.000160}, {1200, 30, 0.037370, 0.000160},
	}
}

// Loss returns the loss of a length at 20 °C; copper adds 0.2 % a kelvin (from
// memory):
//
//	k1·sqrt(f_MHz) + k2·f_MHz        dB per 100 ft
func (c Coax) Loss(megahertz, metres float64) DB {
	const hundredFeet = 30.48
	return DB((c.k1*math.Sqrt(megahertz) + c.k2*megahertz) * metres / hundredFeet)
}

// Radiated returns the power radiated isotropically that arrives as received
// at a distance: the other way round of FreeSpace. The limits of re-radiation
// are given so (NTIA Manual 8.3.28: -140 dBm in 24 MHz at 30 m).
func Radiated(received DBm, megahertz, metres float64) DBm {
	return received.Plus(FreeSpace(megahertz, metres/1e3))
}

// PowerDensity returns the power on a square metre at a distance, in W/m²:
// S = EIRP/(4·π·d²). Far field only.
func PowerDensity(eirp DBm, metres float64) float64 {
	return float64(eirp.Milliwatts()) / 1e3 / (4 * math.Pi * metres * metres)
}

// PublicExposure returns the limit for the general public from 300 MHz to 100
// GHz, in mW/cm² over 30 minutes (FCC table of maximum permissible exposure,
// in a reprint); ok is false outside that range. Local rules decide.
func PublicExposure(megahertz float64) (limit float64, ok bool) {
	return min(megahertz/1500, 1), megahertz >= 300 && megahertz <= 100_000
}

// Hazard limits of light from a single-mode fibre. Local rules decide.
var (
	// Class1At1310 is the limit of class 1 in older editions, 3.9e-4·C4·C7 W
	// with C4 = 5, C7 = 8 (IEC 60825-1:2007, from memory).
	Class1At1310 = watts(3.9e-4 * 5 * 8)
	// Class1At1550 is the limit of class 1, continuous (IEC 60825-1, from memory).
	Class1At1550 = watts(10e-3)
	// Hazard1MAbove1400 is hazard level 1M above 1400 nm (guide of an optical
	// platform that applies IEC 60825-2).
	Hazard1MAbove1400 = watts(136e-3)
)

func watts(w float64) DBm { return DBm{10*math.Log10(w) + 30} }
