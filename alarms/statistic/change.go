package statistic

// A Change is the one point at which the mean of values has changed most.
type Change struct {
	At            int     // index of the first value after it
	Before, After float64 // means
	Whole, Split  float64 // sums of squares about one mean, and about the two
}

// ChangePoint returns the split of values into two runs that leaves the least
// sum of squares, each run having at least so many values. Answers false
// without enough of them.
func ChangePoint(values []float64, least int) (Change, bool) {
	n := len(values)
	if least < 1 || n < 2*least {
		return Change{}, false
	}
	mean := 0.0
	for _, v := range values {
		mean += v / float64(n)
	}
	var best Change
	best.Before, best.After = mean, mean
	for _, v := range values {
		best.Whole += (v - mean) * (v - mean)
	}
	sum, gain := 0.0, -1.0 // of the values before the split, less the mean
	for i, v := range values[:n-least] {
		sum += v - mean
		k := i + 1
		// Whole − Split = k·(n−k)/n·(difference of means)²
		if g := sum * sum * float64(n) / (float64(k) * float64(n-k)); k >= least && g > gain {
			gain = g
			best.At, best.Before, best.After = k, mean+sum/float64(k), mean-sum/float64(n-k)
		}
	}
	best.Split = best.Whole - gain
	return best, true
}
