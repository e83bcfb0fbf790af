package drift

import (
	"math"
	"slices"
)

// A Band holds quantiles of ln(true / predicted time left): 10, 50 and 90 %.
type Band struct{ Low, Middle, High float64 }

// Quantiles are the bands by share of the limit lost (below 10, 30, 60, 100 %)
// and by form of the course: how wrong forecasts of this kind have been.
type Quantiles struct{ Ramp, Curve [4]Band }

// DefaultQuantiles were found on series made up for the purpose, half of them
// linear, half growing; see DEVELOPERS.md. Fit replaces them once a fleet has
// failures of its own.
func DefaultQuantiles() *Quantiles {
	return &Quantiles{
		Ramp:  [4]Band{{-1.53, -0.19, 0.28}, {-0.60, -0.01, 0.13}, {-0.06, 0, 0.07}, {-0.09, 0, 0.12}},
		Curve: [4]Band{{-0.75, 0.20, 1.28}, {-0.56, 0.04, 0.76}, {-0.48, -0.01, 0.27}, {-0.63, -0.02, 0.17}},
	}
}

var shareLimits = [3]float64{0.1, 0.3, 0.6}

// Cell returns the place of a share of the limit lost in Ramp and Curve.
func Cell(share float64) int {
	i, _ := slices.BinarySearch(shareLimits[:], math.Nextafter(share, 2))
	return i
}

func (q *Quantiles) band(share float64, curved bool) Band {
	if curved {
		return q.Curve[Cell(share)]
	}
	return q.Ramp[Cell(share)]
}

// Widened returns quantiles for a group whose points are noisier: by is its
// DriftScale, and what is at most 1 changes nothing.
func (q *Quantiles) Widened(by float64) *Quantiles {
	if by <= 1 {
		return q
	}
	out := *q
	for i := range out.Ramp {
		for _, b := range []*Band{&out.Ramp[i], &out.Curve[i]} {
			b.Low, b.High = b.Middle+by*(b.Low-b.Middle), b.Middle+by*(b.High-b.Middle)
		}
	}
	return &out
}

// An Outcome is a forecast whose end is known.
type Outcome struct {
	Share  float64 // as forecast
	Curved bool
	Ratio  float64 // true time left over the fit's own, without a band
}

// minOutcomes of a cell make a 10 % quantile that is one of them.
const minOutcomes = 20

// Fit returns quantiles by outcomes, split conformal: the rank is that of n+1
// cases, so that the next one falls inside as often as is claimed. Cells with
// less than 20 outcomes keep what q says.
func (q *Quantiles) Fit(outcomes []Outcome) *Quantiles {
	var ratios [2][4][]float64
	for _, o := range outcomes {
		if o.Ratio > 0 {
			form := 0
			if o.Curved {
				form = 1
			}
			c := &ratios[form][Cell(o.Share)]
			*c = append(*c, math.Log(o.Ratio))
		}
	}
	out := *q
	for i := range shareLimits {
		refit(&out.Ramp[i], ratios[0][i])
		refit(&out.Curve[i], ratios[1][i])
	}
	refit(&out.Ramp[3], ratios[0][3])
	refit(&out.Curve[3], ratios[1][3])
	return &out
}

func refit(b *Band, ratios []float64) {
	n := len(ratios)
	if n < minOutcomes {
		return
	}
	slices.Sort(ratios)
	at := func(p float64) float64 { return ratios[max(0, min(int(math.Ceil(p*float64(n+1)))-1, n-1))] }
	*b = Band{ratios[max(0, int(0.1*float64(n+1))-1)], at(0.5), at(0.9)}
}
