package drift

import (
	"math"
	"time"
)

// A Day is one day's loss against the baseline, for Predict.
type Day struct {
	Day  int32 // since 1970
	Loss float32
}

// A Forecast says when a limit is reached if the loss goes on as it does. The
// times count from the last day given to Predict.
type Forecast struct {
	Lower, Middle, Upper time.Duration // 80 % interval and what is most likely
	Open                 bool          // no upper end within sight: Upper is not to be used
	Share                float64       // of the limit that is lost already
	Curved               bool          // the loss grows faster as time goes on
	Onset                int32         // day on which it began, by the fit
}

const (
	minForecastDays = 10
	farDays         = 20 * 365.25 // nobody can see farther
	curveGain       = 12          // n ln(SSR ratio) from which a curve is believed
)

// Predict fits a ramp and a curve with an unknown onset to the daily losses,
// oldest first, and tells when limitDB is reached. It says false when there is
// no loss that grows, too little of it to see, or nothing left. It costs time
// in proportion to the days.
func Predict(days []Day, limitDB float64, q *Quantiles) (Forecast, bool) {
	if len(days) < minForecastDays {
		return Forecast{}, false
	}
	f := fit(days)
	loss := f.loss()
	if !(f.slope > 0 || f.bend > 0) || loss >= limitDB {
		return Forecast{}, false
	}
	left := f.until(limitDB)
	share := max(0, loss/limitDB)
	band := q.band(share, f.bend > 0)
	out := Forecast{Share: share, Curved: f.bend > 0, Onset: days[len(days)-1].Day - int32(f.span)}
	out.Lower = daysFor(left * math.Exp(band.Low))
	out.Middle = daysFor(left * math.Exp(band.Middle))
	out.Upper = daysFor(left * math.Exp(band.High))
	out.Open = left*math.Exp(band.High) >= farDays
	return out, left*math.Exp(band.Low) < farDays
}

func daysFor(d float64) time.Duration {
	return time.Duration(min(d, farDays) * 24 * float64(time.Hour)).Round(time.Hour)
}

// course is slope x + bend x^2, with x in days since the onset; span is x of
// the last day.
type course struct{ slope, bend, span, ssr float64 }

func (c course) loss() float64 { return (c.slope + c.bend*c.span) * c.span }

// until returns the days from the last one until the loss is limit.
func (c course) until(limit float64) float64 {
	if c.bend == 0 {
		return limit/c.slope - c.span
	}
	return (math.Sqrt(c.slope*c.slope+4*c.bend*limit)-c.slope)/(2*c.bend) - c.span
}

// fit tries every day as onset. Sums from the end on make each try cost the
// same however long the course is.
func fit(days []Day) course {
	last := float64(days[len(days)-1].Day)
	var n, s1, s2, s3, s4, y0, y1, y2, yy float64 // of u = days before the last, and y
	var total float64
	for _, d := range days {
		total += float64(d.Loss) * float64(d.Loss)
	}
	ramp, curve := course{ssr: total}, course{ssr: total}
	for i := len(days) - 1; i >= 0; i-- {
		u, y := last-float64(days[i].Day), float64(days[i].Loss)
		n, s1, s2, s3, s4 = n+1, s1+u, s2+u*u, s3+u*u*u, s4+u*u*u*u
		y0, y1, y2, yy = y0+y, y1+u*y, y2+u*u*y, yy+y*y
		if n < minForecastDays {
			continue
		}
		x := u + 1 // span if the loss began the day before
		// with w = x-u: sums of w^2, w^3, w^4, wy, w^2 y
		w2 := n*x*x - 2*x*s1 + s2
		w3 := n*x*x*x - 3*x*x*s1 + 3*x*s2 - s3
		w4 := n*x*x*x*x - 4*x*x*x*s1 + 6*x*x*s2 - 4*x*s3 + s4
		wy := x*y0 - y1
		wwy := x*x*y0 - 2*x*y1 + y2
		if b := wy / w2; b > 0 {
			ramp = ramp.better(course{slope: b, span: x, ssr: total - b*wy})
		}
		curve = curve.better(bent(w2, w3, w4, wy, wwy, x, total))
	}
	if curve.bend > 0 && float64(len(days))*math.Log(ramp.ssr/max(curve.ssr, 1e-12)) > curveGain {
		return curve
	}
	return ramp
}

func (c course) better(o course) course {
	if o.ssr < c.ssr {
		return o
	}
	return c
}

// bent solves for slope and bend, neither below nought.
func bent(w2, w3, w4, wy, wwy, x, total float64) course {
	det := w2*w4 - w3*w3
	if det <= 1e-9*w2*w4 {
		return course{ssr: math.Inf(1)}
	}
	b, c := (wy*w4-wwy*w3)/det, (w2*wwy-w3*wy)/det
	if b < 0 {
		b, c = 0, wwy/w4
	}
	if c <= 0 {
		return course{ssr: math.Inf(1)}
	}
	return course{slope: b, bend: c, span: x, ssr: total - b*wy - c*wwy}
}
