package baseline

import (
	"math"
	"slices"

	"lightwell/alarms/statistic"
)

// spreadFloor is the least spread of any point, in its own unit: quiet
// quantised readings have a deviation of 0, and nobody may divide by that.
const spreadFloor = 0.008

// spread returns the robust standard deviation of values about centre, with
// its floor.
func spread(values []float64, centre, quantum float64) float64 {
	return statistic.Sigma(values, centre, max(quantum/2, spreadFloor))
}

// thirds returns the median of the last third of values in time order minus
// that of the first, and the standard error that noise gives it. The noise is
// taken from steps between neighbours, which a drift or a jump leaves alone.
func thirds(values []float64, quantum float64) (drift, stderr float64) {
	k := len(values) / 3
	if k == 0 {
		return 0, 0
	}
	steps := make([]float64, len(values)-1)
	for i := range steps {
		steps[i] = (values[i+1] - values[i]) / math.Sqrt2
	}
	noise := spread(steps, 0, quantum)
	first, last := slices.Sorted(slices.Values(values[:k])), slices.Sorted(slices.Values(values[len(values)-k:]))
	return statistic.Median(last, quantum) - statistic.Median(first, quantum), statistic.MedianCost * noise * math.Sqrt(2/float64(k))
}
