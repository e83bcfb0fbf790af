package statistic_test

import (
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/statistic"
)

// TestMAD: R's mad; check value 17.
func TestMAD(t *testing.T) {
	require.InDelta(t, 1.482602, statistic.MADToSigma, 5e-7)
	for _, c := range []struct {
		values []float64
		want   float64
	}{
		{[]float64{1, 1, 2, 2, 4, 6, 9}, 1.4826},
		{[]float64{1, 2, 3, 4, 5, 6, 7, 8, 100}, 2.9652},
	} {
		require.InDelta(t, c.want, statistic.Sigma(c.values, statistic.MedianOf(c.values), 0), 5e-5)
	}
}

func TestSigmaHasAFloor(t *testing.T) {
	require.InDelta(t, 0.008, statistic.Sigma([]float64{3, 3, 3, 3.5}, 3, 0.008), 0)
	require.InDelta(t, 5*statistic.MADToSigma, statistic.Sigma([]float64{-5, 0, 5, 5}, 0, 0.008), 1e-12)
}

func TestQuantum(t *testing.T) {
	for _, c := range []struct {
		sorted []float64
		want   float64
	}{
		{[]float64{-3.2}, 0},
		{[]float64{-3.2, -3.2}, 0},
		{[]float64{-3.2, -3.2 + 1e-12, -3.1}, 0.1},
		{[]float64{-3.4, -3.2, -3.1, -3.1}, 0.1},
	} {
		require.InDelta(t, c.want, statistic.Quantum(c.sorted), 1e-9, c.sorted)
	}
}

func TestMedianWithinAQuantum(t *testing.T) {
	for _, c := range []struct {
		name   string
		sorted []float64
		q      float64
		want   float64
	}{
		{"one", []float64{-3.2}, 0, -3.2},
		{"plain even", []float64{1, 2, 3, 10}, 0, 2.5},
		{"all on one step", []float64{2, 2, 2, 2}, 0.1, 2},
		// L + q·(n/2 − F)/f, the median of grouped data: 1.5 + 1·(2.5−1)/3
		{"three of five share the middle step", []float64{1, 2, 2, 2, 3}, 1, 2},
		{"leaning up", []float64{2, 2, 2, 3, 3}, 1, 1.5 + 2.5/3},
		{"mostly below", []float64{1.9, 1.9, 2, 2, 2}, 0.1, 1.95 + 0.1*0.5/3},
		{"half and half", []float64{1.9, 1.9, 2, 2}, 0.1, 1.95},
	} {
		require.InDelta(t, c.want, statistic.Median(c.sorted, c.q), 1e-12, c.name)
	}
}

// The grouped median is nearer to the truth than the plain one, which sticks
// to the step.
func TestMedianDoesNotStickToTheStep(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	plain, grouped := 0.0, 0.0
	for i := range 200 {
		truth := float64(i) / 2000
		values := make([]float64, 200)
		for j := range values {
			values[j] = float64(int((truth+0.05*r.NormFloat64()+5)*10+0.5))/10 - 5
		}
		slices.Sort(values)
		plain += abs(statistic.Median(values, 0) - truth)
		grouped += abs(statistic.Median(values, 0.1) - truth)
	}
	require.Less(t, grouped, plain/3)
}

func abs(v float64) float64 { return max(v, -v) }

// TestMedianCost: sqrt(pi/2), by simulation.
func TestMedianCost(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 9))
	median, mean := 0.0, 0.0
	for range 4000 {
		x, sum := make([]float64, 101), 0.0
		for i := range x {
			x[i] = r.NormFloat64()
			sum += x[i] / 101
		}
		m := statistic.MedianOf(x)
		median, mean = median+m*m, mean+sum*sum
	}
	require.InEpsilon(t, statistic.MedianCost*statistic.MedianCost, median/mean, 0.08)
}

// Check values 18 (NIST/SEMATECH 1.3.6.7.1) and 19 (1.3.6.7.2), recomputed.
func TestQuantiles(t *testing.T) {
	for p, want := range map[float64]float64{.90: 1.281552, .95: 1.644854, .975: 1.959964, .99: 2.326348, .995: 2.575829} {
		require.InDelta(t, want, statistic.NormalQuantile(p), 5e-7)
		require.InDelta(t, p, normalShare(want), 1e-7)
	}
	for _, c := range []struct{ p, freedom, want float64 }{
		{.9, 5, 1.475884}, {.975, 5, 2.570582}, {.9, 10, 1.372184}, {.975, 10, 2.228139}, {.9, 30, 1.310415}, {.975, 30, 2.042272}, {.975, 60, 2.000298},
	} {
		require.InDelta(t, c.want, statistic.StudentQuantile(c.p, c.freedom), 5e-7, c)
	}
}
