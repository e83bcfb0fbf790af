package statistic_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/statistic"
)

// epa is the example of EPA QA/G-9S, Data Quality Assessment: Statistical
// Methods for Practitioners, p. 109; check value 13.
var epa = []float64{10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15}

func TestMannKendallOfTheEPA(t *testing.T) {
	trend := statistic.MannKendall(epa)
	require.Equal(t, 22, trend.S)
	require.InDelta(t, 155.3333, trend.Variance, 5e-5)
	require.InDelta(t, 1.68495, trend.Z, 5e-6)
	require.InDelta(t, 0.0920, twoSidedP(trend.Z), 5e-5)
	require.InDelta(t, 1.0, trend.Slope(), 1e-12)
	low, high := trend.Limits(statistic.NormalQuantile(0.975), 1)
	require.InDelta(t, 0, low, 1e-12)
	require.InDelta(t, 2, high, 1e-12)
}

// twoSidedP is the chance of a trend as strong as z, up or down, when there is
// none.
func twoSidedP(z float64) float64 { return 2 * normalShare(-math.Abs(z)) }

// TestTrendOfTheNile: R and scipy; check value 15.
func TestTrendOfTheNile(t *testing.T) {
	trend := statistic.MannKendall(nile(t))
	require.Equal(t, -1387, trend.S)
	require.InDelta(t, 112728.33, trend.Variance, 0.005)
	require.InDelta(t, -4.1281, trend.Z, 5e-5)
	require.InDelta(t, 3.66e-5, twoSidedP(trend.Z), 5e-8)
	require.InDelta(t, -2.6, trend.Slope(), 1e-9)
	low, high := trend.Limits(statistic.NormalQuantile(0.975), 1)
	require.InDelta(t, -3.6279, low, 5e-5)
	require.InDelta(t, -1.4286, high, 5e-5)
}

func TestTrendOfLittle(t *testing.T) {
	flat := statistic.MannKendall([]float64{3, 3, 3})
	require.Zero(t, flat.S)
	require.Zero(t, flat.Z, "no trend, though no variance either")
	require.Zero(t, flat.Slope())
	low, high := statistic.MannKendall([]float64{1, 2}).Limits(2, 9)
	require.Equal(t, []float64{1, 1}, []float64{low, high})
}

// Values that resemble their neighbours widen the limits.
func TestLimitsOfASlopeMindTheNeighbours(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	outside := map[float64]int{}
	const phi, series = 0.6, 400
	for range series {
		x, a := make([]float64, 40), 0.0
		for i := range x {
			a = phi*a + r.NormFloat64()
			x[i] = a
		}
		trend := statistic.MannKendall(x)
		for _, inflate := range []float64{1, (1 + phi) / (1 - phi)} {
			if low, high := trend.Limits(2, inflate); low > 0 || high < 0 {
				outside[inflate]++
			}
		}
	}
	require.Greater(t, outside[1], series/6, "taken as independent")
	require.Less(t, outside[(1+phi)/(1-phi)], series/12)
}

// TestChangeOfTheNile: strucchange of R, breakpoints(Nile ~ 1); 1898 also in
// Cobb (1978); check value 14.
func TestChangeOfTheNile(t *testing.T) {
	flow := nile(t)
	change, ok := statistic.ChangePoint(flow, 15)
	require.True(t, ok)
	require.Equal(t, 28, change.At, "1898 is the last of the first 28")
	require.InDelta(t, 2835157, change.Whole, 0.5)
	require.InDelta(t, 1597457, change.Split, 0.5)
	require.InDelta(t, 1097.75, change.Before, 5e-3)
	require.InDelta(t, 849.97, change.After, 5e-3)
	require.InDelta(t, 75.93, (change.Whole-change.Split)/(change.Split/98), 5e-3)
	bic := func(rss float64, parameters float64) float64 {
		n := 100.0
		return n*(math.Log(2*math.Pi*rss/n)+1) + parameters*math.Log(n)
	}
	require.InDelta(t, 1318, bic(change.Whole, 2), 0.5)
	require.InDelta(t, 1270, bic(change.Split, 4), 0.5)
}

func TestChangePointIsTheBestOfAllSplits(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	square := func(x []float64) (sum float64) {
		m := mean(x)
		for _, v := range x {
			sum += (v - m) * (v - m)
		}
		return sum
	}
	for range 50 {
		x := make([]float64, 4+r.IntN(30))
		for i := range x {
			x[i] = 1000 + r.NormFloat64()
		}
		change, ok := statistic.ChangePoint(x, 2)
		require.True(t, ok)
		best := math.Inf(1)
		for k := 2; k <= len(x)-2; k++ {
			best = min(best, square(x[:k])+square(x[k:]))
		}
		require.InDelta(t, best, change.Split, 1e-6)
		require.InDelta(t, best, square(x[:change.At])+square(x[change.At:]), 1e-6)
	}
	_, ok := statistic.ChangePoint(make([]float64, 3), 2)
	require.False(t, ok)
	_, ok = statistic.ChangePoint(make([]float64, 3), 0)
	require.False(t, ok)
}
