package baseline

import (
	"math"

	"lightwell/alarms/statistic"
)

// What a temperature coefficient is taken to be before anything is learnt is 0
// with this standard error: 0.02 dB per kelvin for light, and as much of the
// tolerance for other quantities. Nothing beyond five of them is believed.
const (
	priorCoeff = 0.2 // in drift tolerances per kelvin; 0.1 dB for light
	mostPriors = 5
	leastSpan  = 5 // °C that a temperature must have moved for a coefficient to be learnt
	betterBy   = 6 // by how much more likely another than the own temperature must be, as a logarithm
)

// lags are how many hours an inside may follow the case: the point is
// compared with the temperature smoothed over each of them.
var lags = []float64{0, 1, 2, 3}

// An explanation is one temperature put to the test.
type explanation struct {
	by     thermometer
	coeff  float64 // units per kelvin
	se     float64
	spanC  float64
	refC   float64   // first hour of the thermometer
	left   []float64 // hours with the temperature's part taken out
	hours  []int64   // they belong to
	effect float64   // hours that count, of those that resemble their neighbours
	sd     float64   // of what is left, trend taken out
}

// pairs returns the hours at which both point and thermometer have values,
// with the temperature smoothed over lag hours.
func pairs(point, temp *tape, first, end int64, lag float64) (hours []int64, values, temps []float64) {
	smooth := statistic.EWMA{Weight: 1}
	if lag > 0 {
		smooth.Weight = 1 - math.Exp(-1/lag)
	}
	z, running := 0.0, false
	for h := first; h < end; h++ {
		t, ok := temp.at(h)
		if !ok {
			running = false
			continue
		}
		if !running {
			z = t
		}
		z, running = smooth.Step(z, t), true
		if v, ok := point.at(h); ok {
			hours, values, temps = append(hours, h), append(values, v), append(temps, z)
		}
	}
	return hours, values, temps
}

// test fits value = level + coeff·(T − mean) to the hours, with a trend beside
// it where there are days enough to tell them apart.
func test(by thermometer, g *gauge, point *tape, first, end int64, lag float64) (explanation, bool) {
	hours, values, temps := pairs(point, g.tape, first, end, lag)
	if len(hours) < dayHours/2 {
		return explanation{}, false
	}
	low, high, mean := temps[0], temps[0], 0.0
	for _, t := range temps {
		low, high, mean = min(low, t), max(high, t), mean+t/float64(len(temps))
	}
	x := explanation{by: by, spanC: high - low, refC: g.ref, hours: hours}
	rows := make([][]float64, len(hours))
	trend := end-first > 3*dayHours
	for i := range rows {
		rows[i] = []float64{1, temps[i] - mean}
		if trend {
			rows[i] = append(rows[i], float64(hours[i]-first)/window)
		}
	}
	fit, ok := statistic.LeastSquares(rows, values)
	if !ok {
		return explanation{}, false
	}
	residuals := make([]float64, len(rows))
	for i := range rows {
		residuals[i] = values[i] - fit.At(rows[i])
	}
	r := neighbours(residuals)
	x.coeff, x.se, x.sd = fit.Coeff[1], fit.SE[1]*math.Sqrt((1+r)/(1-r)), max(fit.ResidualSD, 1e-9)
	x.effect = float64(len(rows)) * (1 - r) / (1 + r)
	x.left = make([]float64, len(values))
	for i := range values {
		x.left[i] = values[i] - x.coeff*(temps[i]-g.ref)
	}
	return x, true
}

// neighbours returns the correlation of values with those before them, from 0
// to 0.95.
func neighbours(values []float64) float64 {
	product, square := 0.0, 0.0
	for i, v := range values {
		square += v * v
		if i > 0 {
			product += v * values[i-1]
		}
	}
	if square == 0 {
		return 0
	}
	return max(0, min(product/square, 0.95))
}

// explain finds the temperature that explains a point best. Another than the
// own must be clearly better, because temperatures of one site are alike. The
// coefficient is drawn towards the prior as far as its error allows.
func (l *learner) explain(candidates []thermometer, point *tape, first, end int64, prior float64) (explanation, bool) {
	var best explanation
	found := false
	for i, by := range candidates {
		g := l.gauges[by]
		if g == nil || g.tape == nil {
			continue
		}
		for _, lag := range lags {
			x, ok := test(by, g, point, first, end, lag)
			if !ok || x.spanC < leastSpan {
				continue
			}
			ahead := x.effect * 2 * math.Log(best.sd/x.sd)
			if !found || best.by == by && ahead > 0 || best.by != by && ahead > betterBy*min(1, float64(i)) {
				best, found = x, true
			}
		}
	}
	if found {
		w := prior * prior / (prior*prior + best.se*best.se)
		best.coeff = max(-mostPriors*prior, min(best.coeff*w, mostPriors*prior))
		best.se *= math.Sqrt(w)
	}
	return best, found
}
