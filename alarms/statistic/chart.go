package statistic

// A CUSUM is the tabular cumulative sum chart of Page (1954) for deviations
// from a target:
//
//	high = max(0, high + x − K)    low = max(0, low − x − K)
//
// It signals when a sum passes H. K is half the shift that is sought. A chart
// with H = 5 and K = 1/2 standard deviations signals once in 465 values that
// are in order and 10.4 values after a shift of one standard deviation.
type CUSUM struct {
	Allowance float64 // K, in the unit of the values
	Limit     float64 // H, likewise
}

// Sums is the state of a CUSUM. The zero value is a start at the target; half
// the limit in both is the head start of Lucas and Crosier (1982), with which
// what is wrong from the beginning signals sooner.
type Sums struct{ High, Low float64 }

// Step returns the sums after one more deviation from the target.
func (c CUSUM) Step(s Sums, x float64) Sums {
	return Sums{High: max(0, s.High+x-c.Allowance), Low: max(0, s.Low-x-c.Allowance)}
}

// Signal returns +1 when the values have shifted up, -1 when down, and 0.
func (c CUSUM) Signal(s Sums) int {
	switch {
	case s.High > c.Limit:
		return +1
	case s.Low > c.Limit:
		return -1
	}
	return 0
}

// An EWMA is the exponentially weighted moving average
//
//	z = weight·x + (1 − weight)·z
type EWMA struct {
	Weight float64 // of the newest value, above 0, at most 1
}

// Step returns the average after one more value.
func (e EWMA) Step(z, x float64) float64 { return e.Weight*x + (1-e.Weight)*z }
