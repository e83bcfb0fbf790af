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

// Worst returns r with each part at its limit: 0.5 dB/km for outside plant and
// 1.0 dB/km for premises, connector pairs of 0.75 dB, splices of 0.3 dB
// (TIA-568 in a reprint; 1.0 from memory).
func (r Run) Worst(premises bool) Run {
	r.Glass, r.Splice, r.Connector = Part{Mean: 0.5}, Part{Mean: 0.3}, Part{Mean: 0.75}
	if premises {
		r.Glass.Mean = 1
	}
	return r
}

// Loss returns the expected loss of r:
//
//	A = alpha·L + a_s·x + a_c·y        (ITU-T G.652, Appendix I.1, in a reprint)
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

// A Grade is what connectors of one attenuation grade of IEC 61753-1 lose in a
// mated pair (definitions there; figures from memory).
type Grade struct {
	Name   string
	Mean   DB
	Most   DB // of 97 % of the pairs
	Return DB // least return loss of the like-numbered return-loss grade, mated
}

// Grades are the attenuation grades A to D, beside the return-loss grades 1
// (angled) to 4. The mean of grade A is not fixed; 0.07 dB is usual.
func Grades() []Grade {
	return []Grade{{"A", 0.07, 0.15, 60}, {"B", 0.12, 0.25, 45}, {"C", 0.25, 0.50, 35}, {"D", 0.50, 1.00, 26}}
}

// Part returns a pair of the grade as a part of a run. 97 % lie below Most,
// 1.88 standard deviations above the mean of a normal distribution.
func (g Grade) Part() Part { return Part{g.Mean, (g.Most - g.Mean) / 1.88} }

// GroupIndex is that of single-mode fibre at 1310 nm (typical, from memory).
const GroupIndex = 1.4677

// Delay returns the time light needs for a length of fibre, in microseconds:
// t = n·L/c. A receiver of a navigation system behind a link shows the place
// of the antenna, and a time late by this and the delay of the equipment.
func Delay(lengthKM, groupIndex float64) float64 {
	return groupIndex * lengthKM * 1e3 / lightSpeed * 1e6
}

// EchoDistance returns how far away, in metres, what a reflectometer hears
// after so many microseconds is: c·t/(2·n).
func EchoDistance(microseconds, groupIndex float64) float64 {
	return lightSpeed * microseconds * 1e-6 / (2 * groupIndex)
}

// lightSpeed is the speed of light in vacuum, in m/s (exact since 1983).
const lightSpeed = 299_792_458
