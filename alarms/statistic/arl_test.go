package statistic_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/mat"

	"lightwell/alarms/statistic"
)

// An average run length (ARL) is how many values a chart takes on average
// until it signals. Here it comes from two sides: an integral equation, which
// the published tables judge, and the charts of this package run on random
// values, which the equation judges.

// headStart is half the limit on both sides.
func headStart(c statistic.CUSUM) statistic.Sums {
	return statistic.Sums{High: c.Limit / 2, Low: c.Limit / 2}
}

func normalShare(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

func density(x float64) float64 { return math.Exp(-x*x/2) / math.Sqrt(2*math.Pi) }

// runLength solves L(u) = 1 + at(u)·L(0) + ∫ kernel(u, y)·L(y) dy over low to
// high by Gauss and Legendre, and returns L(start) and L(0). atom is the share
// of values after which the chart stands at 0 exactly.
func runLength(low, high, start float64, atom func(u float64) float64, kernel func(u, y float64) float64) (fromStart, fromZero float64) {
	const nodes = 60
	y, w := make([]float64, nodes), make([]float64, nodes)
	quad.Legendre{}.FixedLocations(y, w, low, high)
	at := func(i int) float64 {
		if i == nodes {
			return 0
		}
		return y[i]
	}
	a, b := mat.NewDense(nodes+1, nodes+1, nil), mat.NewVecDense(nodes+1, nil)
	for i := range nodes + 1 {
		b.SetVec(i, 1)
		for j := range nodes {
			a.Set(i, j, -w[j]*kernel(at(i), y[j]))
		}
		a.Set(i, nodes, -atom(at(i)))
		a.Set(i, i, a.At(i, i)+1)
	}
	var l mat.VecDense
	if err := l.SolveVec(a, b); err != nil {
		panic(err)
	}
	fromStart = 1 + atom(start)*l.AtVec(nodes)
	for j := range nodes {
		fromStart += w[j] * kernel(start, y[j]) * l.AtVec(j)
	}
	return fromStart, l.AtVec(nodes)
}

// oneSided returns the ARL of a one-sided CUSUM with a start, and from zero.
func oneSided(k, h, shift, start float64) (fromStart, fromZero float64) {
	return runLength(0, h, start,
		func(u float64) float64 { return normalShare(k - u - shift) },
		func(u, y float64) float64 { return density(y - u + k - shift) })
}

// twoSided returns the ARL of a two-sided CUSUM whose sums start at start
// (Lucas and Crosier, 1982).
func twoSided(k, h, shift, start float64) float64 {
	up, upZero := oneSided(k, h, shift, start)
	if shift > 2*k+1 { // the other side takes more than a million times longer
		return up
	}
	down, downZero := oneSided(k, h, -shift, start)
	return (up*downZero + upZero*down - upZero*downZero) / (upZero + downZero)
}

// ewmaRun returns the ARL of a two-sided EWMA with fixed limits.
func ewmaRun(weight, factor, shift float64) float64 {
	limit := factor * ewmaSE(weight, 1e6)
	l, _ := runLength(-limit, limit, 0,
		func(float64) float64 { return 0 },
		func(u, y float64) float64 { return density((y-(1-weight)*u)/weight-shift) / weight })
	return l
}

var shifts = []float64{0, .25, .5, .75, 1, 1.5, 2, 2.5, 3, 4}

// TestCUSUMRunLengths: Montgomery, Applied Statistics and Probability for
// Engineers, Table 16-9; h 4 and 5 with k 1/2, recomputed with R spc 0.6.7;
// check values 4 and 5.
func TestCUSUMRunLengths(t *testing.T) {
	for _, c := range []struct {
		h                   float64
		printed, recomputed []float64
	}{
		{4, []float64{168, 74.2, 26.6, 13.3, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71}, []float64{167.68, 74.22, 26.63, 13.29, 8.38, 4.75, 3.34, 2.62, 2.19, 1.71}},
		{5, []float64{465, 139, 38.0, 17.0, 10.4, 5.75, 4.01, 3.11, 2.57, 2.01}, []float64{465.44, 139.49, 38.00, 17.05, 10.38, 5.75, 4.01, 3.11, 2.57, 2.01}},
	} {
		for i, shift := range shifts {
			arl := twoSided(0.5, c.h, shift, 0)
			require.InDelta(t, c.recomputed[i], arl, 0.0051, "h %v shift %v", c.h, shift)
			require.InEpsilon(t, c.printed[i], arl, 0.0045, "h %v shift %v", c.h, shift)
			simulateCUSUM(t, statistic.CUSUM{Allowance: 0.5, Limit: c.h}, statistic.Sums{}, shift, arl)
		}
	}
}

// TestOneSidedRunLengths: NIST/SEMATECH 6.3.2.3 (from memory) prints 336 and
// 930, recomputed 335.37 and 930.89; Siegmund's approximation (from memory)
// gives 938.2 and, at a shift of 1, 10.34; check value 6.
func TestOneSidedRunLengths(t *testing.T) {
	for h, want := range map[float64]float64{4: 335.37, 5: 930.89} {
		arl, _ := oneSided(0.5, h, 0, 0)
		require.InDelta(t, want, arl, 0.0051)
	}
	siegmund := func(shift, h float64) float64 {
		d, b := shift-0.5, h+1.166
		return (math.Exp(-2*d*b) + 2*d*b - 1) / (2 * d * d)
	}
	require.InDelta(t, 938.2, siegmund(0, 5), 0.05)
	require.InDelta(t, 10.34, siegmund(1, 5), 0.005)
}

// TestHeadStart: Lucas and Crosier (1982, from memory) print 149 and 5.29,
// recomputed 148.70 and 5.287; check value 7.
func TestHeadStart(t *testing.T) {
	chart := statistic.CUSUM{Allowance: 0.5, Limit: 4}
	for shift, want := range map[float64]float64{0: 148.70, 1: 5.287} {
		arl := twoSided(0.5, 4, shift, headStart(chart).High)
		require.InDelta(t, want, arl, 0.0051)
		simulateCUSUM(t, chart, headStart(chart), shift, arl)
	}
}

// TestLimitsForARunLength: Hawkins (1993, from memory), ARL 370, recomputed;
// check value 8.
func TestLimitsForARunLength(t *testing.T) {
	for _, c := range []struct{ k, h float64 }{{.25, 8.008}, {.5, 4.774}, {.75, 3.339}, {1, 2.516}, {1.25, 1.986}} {
		require.Less(t, twoSided(c.k, c.h-0.001, 0, 0), 370.0, c)
		require.Greater(t, twoSided(c.k, c.h+0.001, 0, 0), 370.0, c)
	}
}

// TestEWMARunLengths: Lucas and Saccucci (1990, from memory), recomputed;
// check values 9 and 10.
func TestEWMARunLengths(t *testing.T) {
	for _, c := range []struct {
		weight, factor float64
		want           []float64
	}{
		{0.1, 2.814, []float64{499.6, 106.3, 31.30, 15.85, 10.33, 6.08, 4.36, 3.44, 2.87, 2.19}},
		{0.2, 2.962, []float64{499.7, 150.2, 41.76, 18.15, 10.54, 5.50, 3.74, 2.88, 2.38, 1.86}},
	} {
		for i, shift := range shifts {
			arl := ewmaRun(c.weight, c.factor, shift)
			require.InDelta(t, c.want[i], arl, max(0.0051, 5e-4*arl), "weight %v shift %v", c.weight, shift)
			simulateEWMA(t, c.weight, c.factor, shift, arl)
		}
	}
	for _, c := range []struct{ weight, factor float64 }{{.05, 2.6151}, {.1, 2.8143}, {.2, 2.9622}, {.25, 2.9981}, {.4, 3.0540}} {
		require.InDelta(t, 500, ewmaRun(c.weight, c.factor, 0), 0.15, "weight %v", c.weight)
	}
}

// TestThreeSigmaRunLengths: closed form; NIST/SEMATECH 6.3.2.3 compares with
// it; check value 11.
func TestThreeSigmaRunLengths(t *testing.T) {
	want := []float64{370.40, 281.15, 155.22, 81.22, 43.89, 14.97, 6.30, 2.00}
	for i, shift := range []float64{0, .25, .5, .75, 1, 1.5, 2, 3} {
		arl := 1 / (normalShare(-3-shift) + normalShare(shift-3))
		require.InDelta(t, want[i], arl, 0.0051)
		simulateEWMA(t, 1, 3, shift, arl) // of weight 1: the values themselves
	}
}

// TestOptimumForAKnownShift: one-sided CUSUM with ARL 36,525, by integral
// equation; the Brownian form beside it (from memory); check value 12.
func TestOptimumForAKnownShift(t *testing.T) {
	const quiet = 36525
	for _, c := range []struct{ shift, h, delay, brownian, firstOrder float64 }{
		{1, 8.655, 17.68, 17.63, 21.0}, {0.5, 15.693, 59.46, 59.43, 84.0}, {0.25, 27.023, 193.5, 193.53, 336.2},
	} {
		before, _ := oneSided(c.shift/2, c.h, 0, 0)
		require.InEpsilon(t, quiet, before, 1e-3, c)
		after, _ := oneSided(c.shift/2, c.h, c.shift, 0)
		require.InDelta(t, c.delay, after, 0.051, c)
		require.InDelta(t, c.brownian, brownianDelay(c.shift, quiet), 0.01, c)
		require.InDelta(t, c.firstOrder, 2*math.Log(quiet)/(c.shift*c.shift), 0.06, c)
	}
}

// brownianDelay is (2/m²)(e^−a + a − 1) where (2/m²)(e^a − a − 1) is the ARL.
func brownianDelay(m, quiet float64) float64 {
	low, high := 0.0, 50.0
	for range 100 {
		if a := (low + high) / 2; 2/(m*m)*(math.Exp(a)-a-1) < quiet {
			low = a
		} else {
			high = a
		}
	}
	return 2 / (m * m) * (math.Exp(-low) + low - 1)
}

func simulateCUSUM(t *testing.T, chart statistic.CUSUM, start statistic.Sums, shift, want float64) {
	simulate(t, fmt.Sprintf("%+v shift %v", chart, shift), want, func(r *rand.Rand) (n int) {
		for s := start; chart.Signal(s) == 0; n++ {
			s = chart.Step(s, shift+r.NormFloat64())
		}
		return n
	})
}

func simulateEWMA(t *testing.T, weight, factor, shift, want float64) {
	chart := statistic.EWMA{Weight: weight}
	limit := factor * ewmaSE(weight, 1e6)
	simulate(t, fmt.Sprintf("%+v shift %v", chart, shift), want, func(r *rand.Rand) (n int) {
		for z := 0.0; math.Abs(z) <= limit; n++ {
			z = chart.Step(z, shift+r.NormFloat64())
		}
		return n
	})
}

// simulate runs a chart many times and compares the mean with what is wanted,
// within four and a half of its standard errors: of 60 comparisons none is
// outside by chance in 2,400 seeds.
func simulate(t *testing.T, name string, want float64, run func(*rand.Rand) int) {
	const runs = 1500
	r := rand.New(rand.NewPCG(11, uint64(want*1000)))
	sum, squares := 0.0, 0.0
	for range runs {
		n := float64(run(r))
		sum, squares = sum+n, squares+n*n
	}
	mean := sum / runs
	se := math.Sqrt(max(squares/runs-mean*mean, 1) / runs)
	require.InDelta(t, want, mean, 4.5*se, name)
}
