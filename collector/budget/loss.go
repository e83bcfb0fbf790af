package budget

import "math"

// Part is one kind of part in a run of fibre: what one of it loses, and the
// standard deviation of that. For the glass itself one part is a kilometre.
type Part struct {
	Mean, SD DB
}

// Run is a run of fibre between two units. Connectors are mated pairs; those
// of the equipment are not counted.
type Run struct {
	LengthKM   float64
	Splices    int
	Connectors int
	Glass      Part // per kilometre
	Splice     Part
	Connector  Part
}

// Typical returns a run of single-mode fibre with usual parts: 0.35 dB/km at
// 1310 nm and 0.20 dB/km at 1550 nm, splices of 0.05 dB, connector pairs of
// 0.25 dB (common practice; spreads 0.02, 0.03 and 0.12 dB).
func Typical(lengthKM float64, connectors, splices int, wavelengthNM float64) Run {
	glass := Part{0.35, 0.02}
	if wavelengthNM > 1450 {
		glass.Mean = 0.20
	}
	return Run{lengthKM, splices, connectors, glass, Part{0.05, 0.03}, Part{0.25, 0.12}}
}

// Loss returns the expected loss of r:
//
//	A = alpha·L + a_s·x + a_c·y        (ITU-T G.652, Appendix I.1)
func (r Run) Loss() DB {
	return r.Glass.Mean*DB(r.LengthKM) + r.Splice.Mean*DB(r.Splices) + r.Connector.Mean*DB(r.Connectors)
}

// SD returns the standard deviation of the loss, for independent parts:
//
//	sd = sqrt(sum sd_i²)        (statistical design, ITU-T G.957 clause 8.3)
func (r Run) SD() DB {
	glass := float64(r.Glass.SD) * r.LengthKM
	splice, connector := float64(r.Splice.SD), float64(r.Connector.SD)
	return DB(math.Sqrt(glass*glass + float64(r.Splices)*splice*splice + float64(r.Connectors)*connector*connector))
}

// Planned returns mean plus three standard deviations: a loss above it at
// commissioning means a bad joint, not bad luck.
func (r Run) Planned() DB { return r.Loss() + 3*r.SD() }

// GlassFace returns what one open face between glass of index n and air
// loses in transmission, and its return loss (Fresnel, normal incidence).
func GlassFace(n float64) (loss, returnLoss DB) {
	r := math.Pow((n-1)/(n+1), 2)
	return -Decibels(1 - r), -Decibels(r)
}

// OffsetLoss returns the loss of a joint whose cores are offset sideways, for
// Gaussian modes: 4.343·(d/w)² dB, w half the mode field diameter (Marcuse
// 1977, from memory). Both arguments are in micrometres.
func OffsetLoss(offset, modeFieldDiameter float64) DB {
	x := offset / (modeFieldDiameter / 2)
	return DB(10 * math.Log10E * x * x)
}

// bendDoublingNM is how much longer the light must be for a bend to lose
// twice as much: the limits of a G.657.A1 fibre (ITU-T G.657) for one turn of
// 10 mm are 0.75 dB at 1550 nm and 1.5 dB at 1625 nm.
const bendDoublingNM = 75

// BendLoss returns what a bend loses at a wavelength when it loses at1310 at
// 1310 nm. A bend tells itself from a joint by this growth.
func BendLoss(at1310 DB, wavelengthNM float64) DB {
	return at1310 * DB(math.Exp2((wavelengthNM-1310)/bendDoublingNM))
}

// SplitLoss returns what an even splitter of n ways loses on each way.
func SplitLoss(n int) DB { return Decibels(float64(max(n, 1))) }
