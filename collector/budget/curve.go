package budget

import (
	"errors"
	"math"
)

// A Curve is the noise factor of a link against its optical loss:
//
//	F(x) = A + B·x + C·x²        x = 10^(L/10)
//
// A is the laser's intensity noise and the source's own, B the shot noise, C
// the thermal noise: behind the loss the signal falls with x², these noises
// with x², x and not at all (derived from the sum that Noise.Density makes).
type Curve struct{ A, B, C float64 }

// A NoisePoint is the noise figure of a link measured at an optical loss.
type NoisePoint struct{ Loss, NoiseFigure DB }

// NoiseFigure returns the noise figure that belongs to an equivalent input
// noise density, measured with a terminated input: NF = EIN − 10·log10(k·T0).
func NoiseFigure(inputNoise DBm) DB { return inputNoise.Above(ThermalDensity(RefTempK)) }

// InputNoise is the inverse of NoiseFigure, in dBm/Hz.
func InputNoise(noiseFigure DB) DBm { return ThermalDensity(RefTempK).Plus(noiseFigure) }

// Factor returns the noise factor at an optical loss; never below 1.
func (c Curve) Factor(loss DB) float64 {
	x := loss.Ratio()
	return max(1, c.A+c.B*x+c.C*x*x)
}

// NoiseFigure returns the noise figure at an optical loss.
func (c Curve) NoiseFigure(loss DB) DB { return Decibels(c.Factor(loss)) }

// Reaches returns the optical loss at which the noise factor is factor:
//
//	x = (−B + sqrt(B² − 4·C·(A − F)))/(2·C)
//
// +Inf means that it never comes to that, -Inf that it is there at any loss.
func (c Curve) Reaches(factor float64) DB {
	left := factor - c.A
	if left <= 0 {
		return DB(math.Inf(-1))
	}
	if c.B == 0 && c.C == 0 {
		return DB(math.Inf(1))
	}
	return Decibels(2 * left / (c.B + math.Sqrt(c.B*c.B+4*c.C*left))) // the root without cancellation; C may be 0
}

// ErrNoise tells that noise figures make no curve.
var ErrNoise = errors.New("give noise figures at three different optical losses or more, each 0 dB or more and none lower at the greater loss")

// FitCurve returns the curve through noise figures at three or more losses
// whose parts are none below zero: the exact one where it exists, else the one
// whose relative errors have the least squares.
func FitCurve(points []NoisePoint) (Curve, error) {
	if !sensible(points) {
		return Curve{}, ErrNoise
	}
	if c, ok := fitParts(points, 7); ok {
		return c, nil
	}
	best, least := Curve{}, math.Inf(1)
	for parts := 1; parts < 7; parts++ {
		if c, ok := fitParts(points, parts); ok && c.misses(points) < least {
			best, least = c, c.misses(points)
		}
	}
	return best, nil
}

// sensible tells whether points are numbers at three losses or more, and none
// is quieter at a greater loss.
func sensible(points []NoisePoint) bool {
	losses := 0
	for i, p := range points {
		if math.IsNaN(float64(p.Loss)) || math.IsInf(float64(p.Loss), 0) || !(p.NoiseFigure >= 0) || math.IsInf(float64(p.NoiseFigure), 0) {
			return false
		}
		again := false
		for _, q := range points[:i] {
			if (p.Loss-q.Loss)*(p.NoiseFigure-q.NoiseFigure) < 0 {
				return false
			}
			again = again || p.Loss == q.Loss
		}
		if !again {
			losses++
		}
	}
	return losses >= 3
}

// misses returns the sum of the squared errors in decibels.
func (c Curve) misses(points []NoisePoint) (sum float64) {
	for _, p := range points {
		d := float64(c.NoiseFigure(p.Loss) - p.NoiseFigure)
		sum += d * d
	}
	return sum
}

// fitParts solves the weighted normal equations for the terms whose bits are
// set in parts. ok is false when they have no solution without negative terms.
func fitParts(points []NoisePoint, parts int) (c Curve, ok bool) {
	var m [3][4]float64
	for _, p := range points {
		x, f := p.Loss.Ratio(), p.NoiseFigure.Ratio()
		row := [4]float64{1 / f, x / f, x * x / f, 1}
		for i := range 3 {
			if parts>>i&1 == 0 {
				row[i] = 0
			}
		}
		for i := range 3 {
			for j := range 4 {
				m[i][j] += row[i] * row[j]
			}
		}
	}
	for i := range 3 {
		if parts>>i&1 == 0 {
			m[i][i] = 1
		}
	}
	v, ok := solve3(m)
	return Curve{v[0], v[1], v[2]}, ok && v[0] >= 0 && v[1] >= 0 && v[2] >= 0
}

// solve3 solves three linear equations by elimination with scaled pivots.
func solve3(m [3][4]float64) (v [3]float64, ok bool) {
	var scale [3]float64
	for i := range 3 { // the terms differ by powers of ten: bring the diagonal to one
		if scale[i] = math.Sqrt(m[i][i]); scale[i] == 0 || math.IsInf(scale[i], 0) {
			return v, false
		}
	}
	for i := range 3 {
		for j := range 3 {
			m[i][j] /= scale[i] * scale[j]
		}
		m[i][3] /= scale[i]
	}
	for i := range 3 {
		pivot := i
		for r := i + 1; r < 3; r++ {
			if math.Abs(m[r][i]) > math.Abs(m[pivot][i]) {
				pivot = r
			}
		}
		if m[i], m[pivot] = m[pivot], m[i]; math.Abs(m[i][i]) < 1e-12 {
			return v, false
		}
		for r := i + 1; r < 3; r++ {
			k := m[r][i] / m[i][i]
			for j := i; j < 4; j++ {
				m[r][j] -= k * m[i][j]
			}
		}
	}
	for i := 2; i >= 0; i-- {
		v[i] = m[i][3]
		for j := i + 1; j < 3; j++ {
			v[i] -= m[i][j] * v[j]
		}
		v[i] /= m[i][i]
	}
	for i := range 3 {
		v[i] /= scale[i]
	}
	return v, true
}
