package budget_test

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/budget"
)

// lastCheck is the number of the last check value.
const lastCheck = 74

// said are the check values that are words.
func said() []struct {
	n                 int
	name              string
	got, want, source string
} {
	gsv, valid := budget.ParseGSV(published)
	_, bad := budget.ParseGSV(published[:len(published)-1] + "8")
	tracked := 0
	for _, s := range gsv.Satellites {
		if s.Tracked {
			tracked++
		}
	}
	flags := budget.NewModuleFlags(0x08, 0x40)
	loss, q := budget.TwoToOne(-2, -3.9, false)
	drift, _ := budget.TwoToOne(-2, 0, false)
	lit := budget.End{Transmits: true}
	return []struct {
		n                 int
		name              string
		got, want, source string
	}{
		{10, "0.4 dB at 1310, 1.1 dB at 1550 nm", string(budget.TellFlaw(0.4, 1.1)), "bend", "pub: rule of the manual of an optical reflectometer"},
		{63, "flags 08h and 40h", fmt.Sprint(flags == budget.BiasHigh|budget.ReceiveLow), "true", "pub: ethtool sfpdiag.c: bias high, receive power low"},
		{65, "published GSV sentence", fmt.Sprint(valid, len(gsv.Satellites), tracked, gsv.Satellites[3].CN0), "true 4 1 5", "pub: NMEA 0183"},
		{66, "the same with another checksum", fmt.Sprint(bad), "false", "NMEA 0183"},
		{72, "light -2.0, RF -3.9 dB", fmt.Sprintf("%s %.2f", loss, q), "real optical loss 1.95", "two-to-one test: Federal Standard 1037C, transfer function"},
		{73, "light -2.0, RF 0.0 dB, no gain control", string(drift), "monitor drift", "two-to-one test"},
		{74, "both dark, both transmit, after work", fmt.Sprint(budget.CrossedPair(lit, lit, true)), "true", "common practice"},
	}
}

func TestCheckValues(t *testing.T) {
	var seen [lastCheck + 1]bool
	for _, c := range slices.Concat(powerChecks(), radioChecks(), serviceChecks(), laserChecks(t)) {
		seen[c.n] = true
		t.Run(fmt.Sprint(c.n, " ", c.name), func(t *testing.T) {
			require.NotEmpty(t, c.source)
			require.InDelta(t, c.want, c.got, c.tol, c.source)
		})
	}
	for _, c := range said() {
		seen[c.n] = true
		t.Run(fmt.Sprint(c.n, " ", c.name), func(t *testing.T) { require.Equal(t, c.want, c.got, c.source) })
	}
	for n, ok := range seen[1:] {
		require.True(t, ok, "check value %d is not tested", n+1)
	}
}

// TestPowersCannotBeAdded: operators do not exist for structs.
func TestPowersCannotBeAdded(t *testing.T) {
	require.Equal(t, reflect.Struct, reflect.TypeFor[budget.DBm]().Kind())
	require.Equal(t, budget.DB(3), budget.Level(-7).Above(budget.Level(-10)))
	require.Equal(t, budget.DB(-3), budget.Level(-7).Below(budget.Level(-10)))
	require.Equal(t, -4.0, budget.Level(-7).Plus(3).Float())
	require.Equal(t, -155.0, budget.FromDBW(-185).Float())
}

func TestNoiseParts(t *testing.T) {
	require.InDelta(t, budgetSum(-167.95, -168.01), alone(1, -155), 0.02, "calc: RIN = shot near 1.013 mA at -155")
	require.InDelta(t, budgetSum(-163.18, -158.47), alone(3, -155), 0.02, "calc")
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
	for _, c := range []struct {
		light, rf budget.DB
		agc       bool
		want      budget.Ratio
	}{
		{-2, -3.2, false, budget.RealLoss}, {-2, -4.8, false, budget.RealLoss}, {2, 4, false, budget.RealLoss},
		{-2, -5, false, budget.Undecided}, {-2, -2, false, budget.Undecided},
		{-2, -0.5, true, budget.HeldByAGC}, {-2, 3, false, budget.MonitorDrift},
		{0.1, -3, false, budget.RadioOnly}, {0.4, 0.3, false, budget.Undecided},
	} {
		got, _ := budget.TwoToOne(c.light, c.rf, c.agc)
		require.Equal(t, c.want, got, c)
	}
}

func TestTellFlaw(t *testing.T) {
	require.Equal(t, budget.Joint, budget.TellFlaw(0.82, 0.64), "ratio 1.28: offset of 2 µm")
	require.Equal(t, budget.Neutral, budget.TellFlaw(3, 3.05))
	require.Equal(t, budget.Neutral, budget.TellFlaw(0, 0.5))
	require.Equal(t, budget.DB(2), budget.BendLoss(1, 1625)/budget.BendLoss(1, 1550), "ITU-T G.657.A1: 0.75 and 1.5 dB, one turn of 10 mm")
}

func TestCrossedPair(t *testing.T) {
	lit, both := budget.End{Transmits: true}, budget.End{Transmits: true, Receives: true}
	require.False(t, budget.CrossedPair(lit, lit, false), "without work it is a cut")
	require.False(t, budget.CrossedPair(lit, both, true))
	require.False(t, budget.CrossedPair(lit, budget.End{}, true))
}

func TestSplit(t *testing.T) {
	require.InDelta(t, 6.02, float64(budget.SplitLoss(4)), 0.01)
	require.Zero(t, budget.SplitLoss(1))
	require.Zero(t, budget.SplitLoss(0))
}

func TestGrades(t *testing.T) {
	for _, g := range budget.Grades() {
		p := g.Part()
		require.Equal(t, g.Mean, p.Mean)
		require.InDelta(t, float64(g.Most), float64(p.Mean+1.88*p.SD), 1e-9, g.Name)
	}
}

func TestCoaxes(t *testing.T) {
	want := map[int]float64{200: 43.5, 240: 33.2, 400: 17.3, 600: 11.2, 900: 7.57, 1200: 5.69} // 240, 400: makers' sheet; others from memory
	for _, c := range budget.Coaxes() {
		require.InDelta(t, want[c.Class], float64(c.Loss(budget.GPSL1, 100)), 0.06, c.Class)
	}
}

func TestEdgesOfWaves(t *testing.T) {
	require.True(t, math.IsInf(float64(budget.LoopRipple(0)), 1), "it oscillates")
	require.InDelta(t, 0.55, float64(budget.LoopRipple(30)), 0.01)
	for _, k := range []int{-8, 7} {
		_, ok := budget.GLONASSL1(k)
		require.False(t, ok)
	}
	for _, f := range []float64{299, 100_001} {
		_, ok := budget.PublicExposure(f)
		require.False(t, ok)
	}
	require.Equal(t, 1.0, exposure(10_000))
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
