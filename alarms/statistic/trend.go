package statistic

import (
	"math"
	"slices"
)

// A Trend is the Mann-Kendall test of values in time order, and the slope of
// Sen that goes with it. Neither minds outliers.
type Trend struct {
	S        int     // pairs that rise less pairs that fall
	Variance float64 // of S when there is no trend, with ties
	Z        float64 // S in standard deviations, corrected for its steps
	slopes   []float64
}

// MannKendall tests values that were taken at equal distances.
func MannKendall(values []float64) Trend {
	n := len(values)
	t := Trend{Variance: float64(n * (n - 1) * (2*n + 5)), slopes: make([]float64, 0, n*(n-1)/2)}
	for i := range n {
		for j := i + 1; j < n; j++ {
			d := values[j] - values[i]
			t.slopes = append(t.slopes, d/float64(j-i))
			switch {
			case d > 0:
				t.S++
			case d < 0:
				t.S--
			}
		}
	}
	for _, ties := range tied(values) {
		t.Variance -= float64(ties * (ties - 1) * (2*ties + 5))
	}
	t.Variance /= 18
	slices.Sort(t.slopes)
	if t.S != 0 {
		t.Z = (float64(t.S) - math.Copysign(1, float64(t.S))) / math.Sqrt(t.Variance)
	}
	return t
}

// tied returns the sizes of the groups of equal values.
func tied(values []float64) []int {
	sorted := slices.Sorted(slices.Values(values))
	var sizes []int
	for len(sorted) > 0 {
		n := 1
		for n < len(sorted) && sorted[n] == sorted[0] {
			n++
		}
		if n > 1 {
			sizes = append(sizes, n)
		}
		sorted = sorted[n:]
	}
	return sizes
}

// Slope returns the slope of Sen: the median of the slopes of all pairs, per
// distance of two values. It needs at least two values.
func (t Trend) Slope() float64 { return Median(t.slopes, 0) }

// Limits returns between which slopes the true one lies, at z standard
// deviations. Values that resemble their neighbours count for fewer than they
// are: inflate is how much larger the variance of S is for that; 1 is for
// values that are independent.
func (t Trend) Limits(z, inflate float64) (low, high float64) {
	n, half := float64(len(t.slopes)), z*math.Sqrt(t.Variance*inflate)
	at := func(rank float64) float64 {
		return t.slopes[min(max(int(math.Round(rank))-1, 0), len(t.slopes)-1)]
	}
	return at((n - half) / 2), at((n+half)/2 + 1)
}
