package statistic_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/statistic"
)

// TestEWMAOfTheHandbook: NIST/SEMATECH e-Handbook of Statistical Methods,
// 6.3.2.4; check values 1 and 2.
func TestEWMAOfTheHandbook(t *testing.T) {
	x := []float64{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1}
	want := []float64{50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99}
	chart := statistic.EWMA{Weight: 0.3}
	half := 3 * 2.0539 * ewmaSE(0.3, 1000)
	require.InDelta(t, 52.5884, 50+half, 2e-4, "printed with sqrt(0.3/1.7) cut to 0.4201")
	require.InDelta(t, 47.4116, 50-half, 5e-5)
	z := 50.0
	for i, v := range x {
		z = chart.Step(z, v)
		require.InDelta(t, want[i], z, 0.0051, "value %d", i+1)
		require.Less(t, math.Abs(z-50), half, "no signal at %d", i+1)
		if i == 18 {
			require.InDelta(t, 51.9403, z, 5e-5)
		}
	}
	require.InDelta(t, 51.9882, z, 5e-5)
}

// ewmaSE is the standard error of an EWMA of n values of standard deviation 1,
// with a start that is known: sqrt(l/(2−l)·[1 − (1−l)^(2n)]).
func ewmaSE(weight float64, n int) float64 {
	return math.Sqrt(weight / (2 - weight) * (1 - math.Pow(1-weight, float64(2*n))))
}

// TestCUSUMOfTheHandbook: NIST/SEMATECH e-Handbook, 6.3.2.3, as printed there;
// 14th, 18th and 20th sum recomputed; check value 3.
func TestCUSUMOfTheHandbook(t *testing.T) {
	x := []float64{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600, 324.625, 325.150, 328.325, 327.250, 327.825, 328.500, 326.675, 327.775, 326.875, 328.350}
	high := []float64{0, 0, 0, 0, 0.03, 0, 0, 0, 0, 0, 0, 0, 3.01, 4.94, 7.45, 10.63, 11.99, 14.44, 16.00, 19.04}
	low := []float64{0, 0.01, 0, 0.33, 0, 0, 0.56, 0.72, 0.17, 0.25, 0.31, 0, 0, 0, 0, 0, 0, 0, 0, 0}
	chart := statistic.CUSUM{Allowance: 0.3175, Limit: 4.1959}
	var s statistic.Sums
	first := 0
	for i, v := range x {
		s = chart.Step(s, v-325)
		require.InDelta(t, high[i], s.High, 0.0076, "group %d", i+1)
		require.InDelta(t, low[i], s.Low, 0.0076, "group %d", i+1)
		if signal := chart.Signal(s); signal != 0 && first == 0 {
			require.Equal(t, +1, signal)
			first = i + 1
		}
	}
	require.Equal(t, 14, first)
	require.InDelta(t, 19.035, s.High, 1e-9)
}

func TestCUSUMSignalsBothWays(t *testing.T) {
	chart := statistic.CUSUM{Allowance: 0.5, Limit: 4}
	for _, c := range []struct {
		s    statistic.Sums
		want int
	}{{statistic.Sums{High: 4}, 0}, {statistic.Sums{High: 4.01}, 1}, {statistic.Sums{Low: 4}, 0}, {statistic.Sums{Low: 4.01}, -1}} {
		require.Equal(t, c.want, chart.Signal(c.s), c.s)
	}
}

// TestLocalLevelOfTheNile: Durbin and Koopman, Time Series Analysis by State
// Space Methods (2001), chapter 2 (from memory); the filter recomputed twice;
// check value 16.
func TestLocalLevelOfTheNile(t *testing.T) {
	flow := nile(t)
	model := statistic.LocalLevel{Noise: 15098.5, Walk: 1469.1}
	b, steps := statistic.Belief{Variance: 1e7}, 0
	want := map[int]float64{1871: 1118.3115, 1872: 1140.1085, 1873: 1072.3158, 1898: 1133.1261, 1899: 1037.2208, 1970: 798.3691}
	likelihood, variance := 0.0, 0.0
	for i, v := range flow {
		var surprise float64
		before := model.Ahead(b, steps)
		b, surprise, variance = model.Observe(before, v)
		if steps = 1; i > 0 {
			likelihood -= (math.Log(2*math.Pi*variance) + surprise*surprise/variance) / 2
		}
		if level, ok := want[1871+i]; ok {
			require.InDelta(t, level, b.Mean, 5e-4, "%d", 1871+i)
		}
	}
	require.InDelta(t, -632.544, likelihood, 5e-4)
	steady, gain := steadyState(model)
	require.InDelta(t, 5501.18, steady, 0.005)
	require.InDelta(t, 0.26705, gain, 5e-6)
	require.InDelta(t, steady, variance-model.Noise, 1e-3)
}

// steadyState is the variance before a measurement that the filter comes to,
// and the gain that goes with it.
func steadyState(l statistic.LocalLevel) (variance, gain float64) {
	variance = (l.Walk + math.Sqrt(l.Walk*l.Walk+4*l.Walk*l.Noise)) / 2
	return variance, variance / (variance + l.Noise)
}

// The variances that Durbin and Koopman give are those that make the Nile most
// likely; R's StructTS finds 15098.58 and 1469.15.
func TestVariancesOfTheNileAreTheMostLikely(t *testing.T) {
	flow := nile(t)
	likelihood := func(noise, walk float64) (sum float64) {
		m := statistic.LocalLevel{Noise: noise, Walk: walk}
		b := statistic.Belief{Mean: flow[0], Variance: noise} // as if nothing was known before the first
		for _, v := range flow[1:] {
			var surprise, variance float64
			b, surprise, variance = m.Observe(m.Ahead(b, 1), v)
			sum -= (math.Log(variance) + surprise*surprise/variance) / 2
		}
		return sum
	}
	best := likelihood(15099, 1469.1)
	for _, c := range []struct{ noise, walk float64 }{{14000, 1469.1}, {16300, 1469.1}, {15099, 1200}, {15099, 1800}} {
		require.Less(t, likelihood(c.noise, c.walk), best, c)
	}
}

func TestASteadyLevelIsAnEWMA(t *testing.T) {
	model := statistic.LocalLevel{Noise: 4, Walk: 0.5}
	variance, gain := steadyState(model)
	chart := statistic.EWMA{Weight: gain}
	b, z := statistic.Belief{Mean: 10, Variance: variance - model.Walk}, 10.0
	for i := range 50 {
		x := 10 + 3*math.Sin(float64(i))
		b, _, _ = model.Observe(model.Ahead(b, 1), x)
		z = chart.Step(z, x)
		require.InDelta(t, z, b.Mean, 1e-9)
	}
}
