// Package budget holds the optical and radio sums of an RF-over-fibre link:
// levels and losses, lasers and their temperature, gain and noise.
//
// It is pure: no clock, goroutine, file or logger, and the same arguments
// always give the same result. Absolute powers, differences and milliwatts
// are types of their own, so that two absolute powers cannot be added by
// mistake. Formulas are those of published texts, named beside each function;
// figures marked "from memory" could not be checked against the text itself.
package budget

import "math"

// DBm is an absolute power: 0 dBm is one milliwatt. It is a struct, so that
// the compiler refuses the sum, the difference and the product of two of them;
// Plus and Minus take a ratio, Below and Above give one. Darkness has no value
// in it; ask Milliwatt.DBm. A noise density is a DBm in one hertz.
type DBm struct{ value float64 }

// Level returns a number of dBm as a power.
func Level(dbm float64) DBm { return DBm{dbm} }

// FromDBW returns a power given over one watt.
func FromDBW(dbw float64) DBm { return DBm{dbw + 30} }

// Float returns p as a number of dBm.
func (p DBm) Float() float64 { return p.value }

// DB is a ratio of powers: ten times the common logarithm.
type DB float64

// Milliwatt is a power on the linear scale, the only one on which powers may
// be added and averaged.
type Milliwatt float64

// Milliwatts returns p on the linear scale.
func (p DBm) Milliwatts() Milliwatt { return Milliwatt(math.Pow(10, p.value/10)) }

// Below returns how far p lies under ref; negative when it lies above.
func (p DBm) Below(ref DBm) DB { return DB(ref.value - p.value) }

// Above returns how far p lies over ref; negative when it lies below.
func (p DBm) Above(ref DBm) DB { return DB(p.value - ref.value) }

// Minus returns p attenuated by loss.
func (p DBm) Minus(loss DB) DBm { return DBm{p.value - float64(loss)} }

// Plus returns p amplified by gain.
func (p DBm) Plus(gain DB) DBm { return DBm{p.value + float64(gain)} }

// DBm returns m as a level. ok is false for no light, which has no level.
func (m Milliwatt) DBm() (p DBm, ok bool) {
	if m <= 0 {
		return DBm{}, false
	}
	return DBm{10 * math.Log10(float64(m))}, true
}

// Minus returns m attenuated by loss.
func (m Milliwatt) Minus(loss DB) Milliwatt { return m / Milliwatt(loss.Ratio()) }

// Ratio returns d as a ratio of powers.
func (d DB) Ratio() float64 { return math.Pow(10, float64(d)/10) }

// Decibels returns a ratio of powers in decibels; -Inf for 0.
func Decibels(ratio float64) DB { return DB(10 * math.Log10(ratio)) }

// Mean returns the mean of levels, taken in milliwatts. ok is false when
// there is none.
func Mean(levels ...DBm) (p DBm, ok bool) {
	var sum Milliwatt
	for _, l := range levels {
		sum += l.Milliwatts()
	}
	return (sum / Milliwatt(max(len(levels), 1))).DBm()
}
