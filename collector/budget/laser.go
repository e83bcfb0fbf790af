package budget

import "math"

// Laser describes a directly modulated laser diode under power control, at
// its reference temperature. Bias and threshold are in milliamperes, slope in
// milliwatts in the fibre per milliampere, temperatures in degrees Celsius.
type Laser struct {
	RefC           float64
	Threshold      float64 // mA at RefC
	ThresholdCharK float64 // T_char: 50–70 K for InGaAsP/InP (photonica.io glossary)
	Slope          float64 // mW/mA at RefC
	SlopeCharK     float64 // T1: 100–200 K (from memory)
}

// ThresholdAt returns the threshold current at a case temperature:
//
//	I_th(T) = I_ref·exp((T − T_ref)/T_char)
func (l Laser) ThresholdAt(caseC float64) float64 {
	return l.Threshold * math.Exp((caseC-l.RefC)/l.ThresholdCharK)
}

// SlopeAt returns the slope efficiency at a case temperature:
//
//	eta(T) = eta_ref·exp(−(T − T_ref)/T1)
func (l Laser) SlopeAt(caseC float64) float64 {
	return l.Slope * math.Exp(-(caseC-l.RefC)/l.SlopeCharK)
}

// Bias returns the current that power control sets to hold a power:
//
//	I_b(T) = I_th(T) + P/eta(T)
func (l Laser) Bias(power Milliwatt, caseC float64) float64 {
	return l.ThresholdAt(caseC) + float64(power)/l.SlopeAt(caseC)
}

// Power returns what the laser gives at a current; 0 below threshold.
func (l Laser) Power(bias, caseC float64) Milliwatt {
	return Milliwatt(max(0, bias-l.ThresholdAt(caseC)) * l.SlopeAt(caseC))
}

// AgeingIndex returns by which part a measured bias exceeds that of a new
// laser at the same temperature and power: 0.2 is one fifth more.
func (l Laser) AgeingIndex(measured float64, power Milliwatt, caseC float64) float64 {
	return measured/l.Bias(power, caseC) - 1
}

// Acceleration returns how much faster a part wears out at hotC than at useC:
//
//	AF = exp((Ea/k)·(1/T_use − 1/T_hot))        k = 8.617333e-5 eV/K
func Acceleration(activationEV, useC, hotC float64) float64 {
	const boltzmannEV, zeroC = 8.617333e-5, 273.15
	return math.Exp(activationEV / boltzmannEV * (1/(useC+zeroC) - 1/(hotC+zeroC)))
}

// UntilLimit returns in how many days a value reaches a limit when it goes on
// at perDay; ok is false when it does not move towards the limit. A forecast
// for people needs an interval around it.
func UntilLimit(value, limit, perDay float64) (days float64, ok bool) {
	days = (limit - value) / perDay
	if math.IsNaN(days) || math.IsInf(days, 0) || days < 0 {
		return 0, false
	}
	return days, true
}
