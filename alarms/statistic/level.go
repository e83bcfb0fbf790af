package statistic

// A LocalLevel is a level that walks at random and is measured with noise
// (Durbin and Koopman, 2001, chapter 2). Its filter is the least squares
// answer to "where is the level now, and how sure is that".
type LocalLevel struct {
	Noise float64 // variance of a measurement about the level
	Walk  float64 // variance of the level's step from one measurement to the next
}

// A Belief is what is known of a level: its mean and variance.
type Belief struct{ Mean, Variance float64 }

// Ahead returns the belief so many steps later, with nothing measured.
func (l LocalLevel) Ahead(b Belief, steps int) Belief {
	return Belief{b.Mean, b.Variance + float64(steps)*l.Walk}
}

// Observe returns the belief after a measurement, how far the measurement was
// from what was expected, and the variance of that.
func (l LocalLevel) Observe(b Belief, x float64) (after Belief, surprise, variance float64) {
	surprise, variance = x-b.Mean, b.Variance+l.Noise
	gain := b.Variance / variance
	return Belief{b.Mean + gain*surprise, b.Variance * (1 - gain)}, surprise, variance
}
