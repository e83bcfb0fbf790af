package statistic

import (
	"math"
	"slices"
)

// MADToSigma scales a median absolute deviation so that it estimates the
// standard deviation of normal values: 1/qnorm(0.75).
var MADToSigma = 1 / NormalQuantile(0.75)

// MedianCost is the standard error of a median over that of a mean of as many
// normal values: sqrt(pi/2).
const MedianCost = 1.2533141

// sameStep is the distance within which two readings are one: decoding noise.
const sameStep = 1e-9

// Quantum returns the smallest step between sorted values; 0 when all are the
// same.
func Quantum(sorted []float64) float64 {
	step := 0.0
	for i := 1; i < len(sorted); i++ {
		d := sorted[i] - sorted[i-1]
		if d > sameStep && (step == 0 || d < step) {
			step = d
		}
	}
	return step
}

// Median returns the median of sorted values, interpolated within a quantum:
// readings that share a step are taken as spread evenly over it, so that the
// centre does not stick to the step. With quantum 0 it is the plain median. It
// needs at least one value.
func Median(sorted []float64, quantum float64) float64 {
	n := len(sorted)
	low, high := sorted[(n-1)/2], sorted[n/2]
	if high-low > sameStep || quantum == 0 {
		return (low + high) / 2
	}
	edge := low - quantum/2
	below, inside := 0, 0
	for _, v := range sorted {
		switch {
		case v < edge:
			below++
		case v < edge+quantum:
			inside++
		}
	}
	return edge + quantum*(float64(n)/2-float64(below))/float64(inside)
}

// MedianOf returns the plain median of values in any order.
func MedianOf(values []float64) float64 { return Median(slices.Sorted(slices.Values(values)), 0) }

// Sigma returns the robust standard deviation of values about centre: their
// scaled median absolute deviation, but no less than floor. The deviation of
// quiet quantised readings is 0, and nobody may divide by that.
func Sigma(values []float64, centre, floor float64) float64 {
	off := make([]float64, len(values))
	for i, v := range values {
		off[i] = math.Abs(v - centre)
	}
	slices.Sort(off)
	return max(MADToSigma*Median(off, 0), floor)
}
