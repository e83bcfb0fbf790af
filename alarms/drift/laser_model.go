package drift

import (
	"math"
	"math/bits"

	"lightwell/alarms/statistic"
	"lightwell/collector/budget"
)

const (
	bins      = 24
	binC      = 3    // °C that a bin spans: 72 °C in all, about the first reading
	knownFrom = 3    // hours in a bin that make its temperature known
	sameBias  = 0.05 // share within which two hours at one temperature are one laser
	lessonCap = 200  // hours after which a bin follows no faster than by one part in so many
	slopeChar = 150  // K; T1 of lasers is 100 to 200 K (from memory), and a fit cannot tell
)

// Characteristic temperatures of the threshold that a fit may choose. InGaAsP
// has 50 to 70 K, InGaAlAs 70 to 90 K (photonica.io glossary). Of equally good
// ones the first is taken.
var thresholdChars = []float64{60, 65, 55, 70, 50, 75, 45, 80, 85, 90, 95}

// laserModel is the bias of a laser against its case temperature:
//
//	I(T) = I_th·exp((T − base)/T_char) + (P/eta)·exp((T − base)/T1)
//
// with I_th, T_char and P/eta fitted to the mean bias at the temperatures met.
type laserModel struct {
	base  float32 // °C of the middle
	bias  [bins]float32
	temp  [bins]float32
	hours [bins]uint16
	used  uint32  // bins in the fit
	cold  float32 // °C that they begin and end at
	hot   float32

	threshold float32 // I_th, mA
	char      float32 // T_char, K
	power     float32 // P/eta, mA
	left      float32 // what the fit leaves, as a share of the bias: one standard deviation
}

// bin returns where a temperature belongs, and -1 beyond all bins.
func (m *laserModel) bin(temp float32) int {
	i := math.Floor(float64(temp-m.base)/binC) + bins/2
	if i < 0 || i >= bins {
		return -1
	}
	return int(i)
}

// learn adds the mean bias of an hour. A lone hour that others of its
// temperature contradict was garbage.
func (m *laserModel) learn(bias, temp float32) {
	i := m.bin(temp)
	if i < 0 {
		return
	}
	off := bias/max(m.bias[i], 1e-6) - 1
	if m.hours[i] == 0 || m.hours[i] == 1 && max(off, -off) > sameBias {
		m.bias[i], m.temp[i], m.hours[i] = bias, temp, 1
		return
	}
	m.hours[i] = min(m.hours[i]+1, lessonCap)
	part := 1 / float32(m.hours[i])
	m.bias[i] *= 1 + part*max(-sameBias, min(off, sameBias))
	m.temp[i] += part * (temp - m.temp[i])
}

// taught returns the bins that hold enough hours.
func (m *laserModel) taught() (set uint32) {
	for i, n := range m.hours {
		if n >= knownFrom {
			set |= 1 << i
		}
	}
	return set
}

// grown tells whether bins were taught that the fit does not know.
func (m *laserModel) grown() bool { return m.taught()&^m.used != 0 }

// use takes a set of bins as those that are known.
func (m *laserModel) use(set uint32) {
	m.used = set
	edge := func(bin int) float32 { return m.base + float32(bin-bins/2)*binC }
	m.cold, m.hot = edge(bits.TrailingZeros32(set)), edge(bits.Len32(set))
}

// knows tells whether a temperature lies between those that were learnt.
func (m *laserModel) knows(temp float32) bool { return temp >= m.cold && temp < m.hot }

// laser returns the model as a laser that holds 1 mW.
func (m *laserModel) laser() budget.Laser {
	return budget.Laser{
		RefC: float64(m.base), Threshold: float64(m.threshold), ThresholdCharK: float64(m.char),
		Slope: 1 / max(float64(m.power), 1e-6), SlopeCharK: slopeChar,
	}
}

// at returns the bias of the laser as it was learnt.
func (m *laserModel) at(temp float32) float32 { return float32(m.laser().Bias(1, float64(temp))) }

// fit chooses the three parameters that leave least of what was learnt.
func (m *laserModel) fit() bool {
	set := m.taught()
	if set == 0 {
		return false
	}
	best := math.Inf(1)
	for _, char := range thresholdChars {
		threshold, power, left := m.fitAt(set, char)
		if left < best*0.999 {
			best = left
			m.threshold, m.char, m.power = float32(threshold), float32(char), float32(power)
		}
	}
	m.use(set)
	m.left = float32(math.Sqrt(best / float64(max(bits.OnesCount32(set)-3, 1))))
	return true
}

// fitAt fits threshold and power with T_char given, neither below zero, and
// returns the sum of squares of relative errors. What two parameters cannot
// tell apart, one scales: half of each.
func (m *laserModel) fitAt(set uint32, char float64) (threshold, power, left float64) {
	var both, hot, flat, y = [][]float64{}, [][]float64{}, [][]float64{}, []float64{}
	for i := range bins {
		if set>>i&1 == 0 {
			continue
		}
		d, bias := float64(m.temp[i]-m.base), float64(m.bias[i])
		a, b := math.Exp(d/char)/bias, math.Exp(d/slopeChar)/bias
		both, hot, flat, y = append(both, []float64{a, b}), append(hot, []float64{a}), append(flat, []float64{b}), append(y, 1)
	}
	if f, ok := statistic.LeastSquares(both, y); ok && f.Coeff[0] >= 0 && f.Coeff[1] >= 0 {
		return f.Coeff[0], f.Coeff[1], squares(&f, len(y)-2)
	}
	if f, ok := statistic.LeastSquares(hot, y); ok {
		threshold, left = f.Coeff[0], squares(&f, len(y)-1)
		if g, ok := statistic.LeastSquares(flat, y); ok && squares(&g, len(y)-1) < left {
			return 0, g.Coeff[0], squares(&g, len(y)-1)
		}
		return threshold, 0, left
	}
	return 0.5 / hot[0][0], 0.5 / flat[0][0], 0
}

func squares(f *statistic.Fit, freedom int) float64 {
	return f.ResidualSD * f.ResidualSD * float64(freedom)
}
