package budget_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/budget"
)

// laser41 is the worked laser of the tests: 8 mA, 0.2 W/A, 3 mW, T_char 60 K,
// T1 200 K.
var laser41 = budget.Laser{RefC: 25, Threshold: 8, ThresholdCharK: 60, Slope: 0.2, SlopeCharK: 200}

// run05 is half a kilometre, four connector pairs, two splices.
func run05(glass, connector, splice float64) budget.Run {
	return budget.Run{
		LengthKM: 0.5, Connectors: 4, Splices: 2,
		Glass: budget.Part{Mean: budget.DB(glass)}, Connector: budget.Part{Mean: budget.DB(connector)}, Splice: budget.Part{Mean: budget.DB(splice)},
	}
}

func level(m budget.Milliwatt) float64 {
	p, ok := m.DBm()
	if !ok {
		return math.NaN()
	}
	return float64(p)
}

func TestCheckValues(t *testing.T) {
	mean, _ := budget.Mean(-10, -20)
	faceLoss, faceReturn := budget.GlassFace(1.4677)
	days, _ := budget.UntilLimit(24.6, 28.8, 0.6/180)
	typical := budget.Typical(0.5, 4, 2, 1310)
	char := func(k float64) float64 {
		l := budget.Laser{RefC: 20, Threshold: 1, ThresholdCharK: k, Slope: 1, SlopeCharK: 1e9}
		return l.ThresholdAt(80)
	}
	parts := func(loss budget.DB) budget.Noise {
		return budget.Noise{SourceK: budget.RefTempK, Gain: budget.LinkGain(0.2, 0.9, loss), CurrentMA: 2.7 / loss.Ratio(), RIN: -155, ReceiverFactor: 1}
	}
	ein := func(loss budget.DB) float64 { return float64(parts(loss).Density()) - float64(parts(loss).Gain) }

	for _, c := range []struct {
		name           string
		got, want, tol float64
		source         string
	}{
		{"-7.1 dBm in mW", float64(budget.DBm(-7.1).Milliwatts()), 0.19498, 1e-5, "definition of the decibel-milliwatt"},
		{"0.5 mW in dBm", level(0.5), -3.0103, 1e-4, "definition of the decibel-milliwatt"},
		{"0.1 µW in dBm", level(1e-4), -40, 1e-9, "SFF-8472: lowest step of a power word"},
		{"136 mW", level(136), 21.34, 0.01, "IEC 60825-2 hazard level 1M above 1400 nm"},
		{"mean of -10 and -20 dBm", float64(mean), -12.596, 0.001, "mean of the milliwatts"},
		{"0.5 km typical", float64(typical.Loss()), 1.275, 0.001, "ITU-T G.652 Appendix I.1, common planning values"},
		{"0.5 km, TIA outside plant", float64(run05(0.5, 0.75, 0.3).Loss()), 3.85, 0.001, "TIA-568 maxima (reprint)"},
		{"0.5 km, TIA premises", float64(run05(1.0, 0.75, 0.3).Loss()), 4.10, 0.001, "TIA-568 maxima (1.0 dB/km from memory)"},
		{"0.5 km standard deviation", float64(typical.SD()), 0.2439, 0.0005, "ITU-T G.957 clause 8.3, statistical design"},
		{"0.5 km mean + 3 sd", float64(typical.Planned()), 2.007, 0.002, "ITU-T G.957 clause 8.3, statistical design"},
		{"published path: receive power", float64(budget.DBm(1.5).Minus(13.0 + 3.8)), -15.3, 0.01, "Fiber Connector Contamination Optical Loss Case Study, Atlas of Engineering"},
		{"published path: margin", -float64(budget.DBm(1.5).Minus(13.0 + 3.8).Below(-18)), 2.7, 0.01, "same case study"},
		{"glass face loss", float64(faceLoss), 0.159, 0.001, "Fresnel, n 1.4677"},
		{"glass face return loss", float64(faceReturn), 14.45, 0.01, "Fresnel, n 1.4677"},
		{"offset 2 µm at 1310 nm", float64(budget.OffsetLoss(2, 9.2)), 0.821, 0.002, "Marcuse 1977 (from memory), mode field of G.652"},
		{"offset 2 µm at 1550 nm", float64(budget.OffsetLoss(2, 10.4)), 0.642, 0.002, "Marcuse 1977 (from memory), mode field of G.652"},
		{"bend: 1625 against 1550 nm", float64(budget.BendLoss(1, 1625) / budget.BendLoss(1, 1550)), 2, 1e-9, "ITU-T G.657.A1: 0.75 and 1.5 dB, one turn of 10 mm"},
		{"kT0", float64(budget.ThermalDensity(290)), -173.975, 0.005, "k·290 K"},
		{"gain, published example", float64(budget.LinkGain(0.2, 0.8, 3)), -21.9, 0.05, "rfessentials.com, RF gain from slope efficiency"},
		{"gain, no loss", float64(budget.LinkGain(0.2, 0.9, 0)), -14.89, 0.01, "parts of INAF-IRA, SKA/BEST optical links"},
		{"noise figure, no loss", ein(0) + 173.975, 30.98, 0.02, "same parts, 3 mW, RIN -155"},
		{"input noise, no loss", ein(0), -142.99, 0.02, "same parts, 3 mW, RIN -155"},
		{"gain, 10 dB", float64(parts(10).Gain), -34.89, 0.02, "same parts"},
		{"noise figure, 10 dB", ein(10) + 173.975, 38.64, 0.02, "same parts"},
		{"threshold 60 K up, T_char 55", char(55), 2.977, 0.005, "Senior, Optical Fiber Communications (from memory): 2.98"},
		{"threshold 60 K up, T_char 170", char(170), 1.423, 0.005, "Senior, Optical Fiber Communications (from memory): 1.42"},
		{"bias at 25 C", laser41.Bias(3, 25), 23.0, 0.02, "I_th + P/eta"},
		{"bias at -40 C", laser41.Bias(3, -40), 13.5, 0.05, "I_th(T) + P/eta(T)"},
		{"bias at 45 C", laser41.Bias(3, 45), 27.74, 0.02, "I_th(T) + P/eta(T)"},
		{"bias at 70 C", laser41.Bias(3, 70), 35.72, 0.02, "I_th(T) + P/eta(T)"},
		{"ageing index of 34.0 mA at 45 C", 100 * laser41.AgeingIndex(34, 3, 45), 22.6, 0.1, "measured over modelled bias"},
		{"acceleration 25 to 45 C, 0.40 eV", budget.Acceleration(0.40, 25, 45), 2.661, 0.005, "Arrhenius; 0.40 eV: GR-468 (from memory)"},
		{"acceleration 25 to 45 C, 0.70 eV", budget.Acceleration(0.70, 25, 45), 5.54, 0.01, "Arrhenius"},
		{"slope times 0.9", float64(budget.SlopeChange(0.9)), -0.915, 0.005, "RF follows the slope squared"},
		{"24.0 to 24.6 mA in 180 d, limit 28.8", days, 1260, 1, "straight line"},
		{"threshold x1.5 at equal slope and power", float64(budget.RINChange(27, 12, 23, 8)), 5.3, 0.05, "Keiser, Analog Links (from memory)"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.InDelta(t, c.want, c.got, c.tol, c.source)
		})
	}
}

func TestNoiseParts(t *testing.T) {
	// Alone, each term: no source, an ideal receiver subtracted.
	term := func(mA float64, rin budget.DB) float64 {
		const off = 1e-30
		return float64(budget.Noise{SourceK: off, Gain: -300, CurrentMA: mA, RIN: rin, ReceiverFactor: off}.Density())
	}
	for _, c := range []struct {
		mA         float64
		rin        budget.DB
		want       float64
		what, from string
	}{
		{1, -400, -167.95, "shot", "UCSB optoelectronics notes print -168"},
		{10, -400, -157.95, "shot", "published -158"},
		{10, -160, budgetSum(-157.95, -153.01), "shot and RIN", "a public tutorial prints -173 for the RIN term; it lost a factor 100"},
		{1, -155, budgetSum(-167.95, -168.01), "shot and RIN", "I²·R·RIN"},
	} {
		t.Run(fmt.Sprint(c.what, c.mA, c.rin), func(t *testing.T) {
			require.InDelta(t, c.want, term(c.mA, c.rin), 0.02, c.from)
		})
	}
}

func budgetSum(a, b float64) float64 { return 10 * math.Log10(math.Pow(10, a/10)+math.Pow(10, b/10)) }

func TestDarknessHasNoLevel(t *testing.T) {
	for _, m := range []budget.Milliwatt{0, -1} {
		_, ok := m.DBm()
		require.False(t, ok)
	}
	_, ok := budget.Mean()
	require.False(t, ok)
}

func TestTwoToOne(t *testing.T) {
	before, after := budget.LinkGain(0.2, 0.9, 1), budget.LinkGain(0.2, 0.9, 2.8)
	require.InDelta(t, float64(budget.RFChange(1.8)), float64(before-after), 1e-9)
	require.InDelta(t, 3.6, float64(budget.RFChange(1.8)), 1e-9)
}

func TestSplit(t *testing.T) {
	require.InDelta(t, 6.02, float64(budget.SplitLoss(4)), 0.01)
	require.Zero(t, budget.SplitLoss(1))
	require.Zero(t, budget.SplitLoss(0))
}

func TestLaserInverse(t *testing.T) {
	for _, c := range []float64{-40, 0, 25, 70} {
		require.InDelta(t, 3, float64(laser41.Power(laser41.Bias(3, c), c)), 1e-9)
		require.Zero(t, laser41.Power(laser41.ThresholdAt(c), c), "dark at threshold")
		require.Zero(t, laser41.AgeingIndex(laser41.Bias(3, c), 3, c))
	}
}

func TestUntilLimitRefusesWrongWay(t *testing.T) {
	for _, slope := range []float64{0, -0.01, math.NaN()} {
		_, ok := budget.UntilLimit(24, 28, slope)
		require.False(t, ok)
	}
	days, ok := budget.UntilLimit(-7, -12, -0.5)
	require.True(t, ok)
	require.InDelta(t, 10, days, 1e-9)
}
