package baseline

import (
	"math"
	"slices"
)

const (
	madToSigma = 1.482602 // 1/qnorm(0.75): the scaled MAD of normal noise is its standard deviation
	medianCost = 1.2533   // sqrt(pi/2): standard error of a median over that of a mean
	// spreadFloor is the least spread of any point, in its own unit: quiet
	// quantised readings have a MAD of 0, and nobody may divide by that.
	spreadFloor = 0.008
	sameStep    = 1e-9 // closer than this, two readings are one: decoding noise
)

// quantum returns the smallest step between values, which must be sorted; 0
// when all are the same.
func quantum(sorted []float64) float64 {
	step := 0.0
	for i := 1; i < len(sorted); i++ {
		d := sorted[i] - sorted[i-1]
		if d > sameStep && (step == 0 || d < step) {
			step = d
		}
	}
	return step
}

// median returns the median of sorted values, interpolated within a quantum of
// width q: readings that share a step are taken as spread evenly over it, so
// that the centre does not stick to the step. It needs at least one value.
func median(sorted []float64, q float64) float64 {
	n := len(sorted)
	low, high := sorted[(n-1)/2], sorted[n/2]
	if high-low > sameStep || q == 0 {
		return (low + high) / 2
	}
	edge := low - q/2
	below, inside := 0, 0
	for _, v := range sorted {
		switch {
		case v < edge:
			below++
		case v < edge+q:
			inside++
		}
	}
	return edge + q*(float64(n)/2-float64(below))/float64(inside)
}

// spread returns the robust standard deviation of values about centre, with
// its floor.
func spread(values []float64, centre, q float64) float64 {
	off := make([]float64, len(values))
	for i, v := range values {
		off[i] = math.Abs(v - centre)
	}
	slices.Sort(off)
	return max(madToSigma*median(off, 0), q/2, spreadFloor)
}

// thirds returns the median of the last third of values in time order minus
// that of the first, and the standard error that noise gives it. The noise is
// taken from steps between neighbours, which a drift or a jump leaves alone.
func thirds(values []float64, q float64) (drift, stderr float64) {
	k := len(values) / 3
	if k == 0 {
		return 0, 0
	}
	steps := make([]float64, len(values)-1)
	for i := range steps {
		steps[i] = (values[i+1] - values[i]) / math.Sqrt2
	}
	noise := spread(steps, 0, q)
	first, last := slices.Sorted(slices.Values(values[:k])), slices.Sorted(slices.Values(values[len(values)-k:]))
	return median(last, q) - median(first, q), medianCost * noise * math.Sqrt(2/float64(k))
}
