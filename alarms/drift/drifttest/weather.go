package drifttest

import "math"

// weather is what moves on from poll to poll.
type weather struct {
	p                     *Point
	fast, slow, front     float64
	keepFast, keepSlow    float64
	keepFront, keepCase   float64
	caseTemp              float64 // as the light feels it
	dip, outage, nonsense int     // next of each
	burst                 window
}

const (
	frontDays = 3   // how long warm and cold weather lasts
	frontTemp = 2.5 // °C
)

func newWeather(p *Point) *weather {
	hours := float64(p.Period) / 3600
	w := &weather{p: p,
		keepFast: math.Exp(-hours / p.fastHours), keepSlow: math.Exp(-hours / 24 / p.slowDays),
		keepFront: math.Exp(-hours / 24 / frontDays), keepCase: math.Exp(-hours / max(p.lagHours, 1e-3)),
	}
	w.fast, w.slow, w.front = p.rng.NormFloat64()*p.fast, p.rng.NormFloat64()*p.slow, p.rng.NormFloat64()*frontTemp
	w.caseTemp = w.temp(0)
	w.burst = w.nextBurst(p.Start)
	return w
}

// walk moves an AR(1) noise of standard deviation sd on.
func (w *weather) walk(x *float64, keep, sd float64) {
	*x = keep**x + math.Sqrt(1-keep*keep)*sd*w.p.rng.NormFloat64()
}

func (w *weather) temp(at int64) float64 {
	d := float64(at) / day
	return w.p.warm + w.front + w.p.year*math.Sin(2*math.Pi*d/365.25+w.p.yearPhase) + w.p.noon*math.Sin(2*math.Pi*(d-0.375))
}

func (w *weather) read(at int64) Reading {
	p := w.p
	w.walk(&w.fast, w.keepFast, p.fast)
	w.walk(&w.slow, w.keepSlow, p.slow)
	w.walk(&w.front, w.keepFront, frontTemp)
	temp := w.temp(at)
	w.caseTemp = temp + w.keepCase*(w.caseTemp-temp)
	r := Reading{At: at, Temp: math.Round(10*(temp+0.2*p.rng.NormFloat64())) / 10, Missing: p.chance(p.missing)}
	loss := p.Loss(float64(at)) + inside(p.dips, &w.dip, at) + w.burstAt(at)
	if (p.Kind == Step && at >= p.Start) || (p.Kind == Service && at >= p.End) {
		loss += p.Size
	}
	cold, out := w.power(at)
	v := p.level + p.thermal*(w.caseTemp-20) + p.season*math.Sin(2*math.Pi*float64(at)/day/365.25+p.seasonPhase) +
		p.white*p.rng.NormFloat64() + w.fast + w.slow - loss - cold
	if g := p.garbage; w.nonsense < len(g) && at >= g[w.nonsense].from {
		v -= g[w.nonsense].by
		w.nonsense++
	}
	r.Missing = r.Missing || out || p.Kind == Service && at >= p.Start && at < p.End
	r.Value = math.Round(v/p.quantum) * p.quantum
	return r
}

// inside returns what a window takes away now.
func inside(ws []window, next *int, at int64) float64 {
	for *next < len(ws) && at >= ws[*next].to {
		*next++
	}
	if *next < len(ws) && at >= ws[*next].from {
		return ws[*next].by
	}
	return 0
}

// power returns what a cold start takes away, and whether the unit is off.
func (w *weather) power(at int64) (cold float64, off bool) {
	ws := w.p.outages
	for w.outage < len(ws) && at >= ws[w.outage].to+2*3600 {
		w.outage++
	}
	if w.outage == len(ws) || at < ws[w.outage].from {
		return 0, false
	}
	o := ws[w.outage]
	if at < o.to {
		return 0, true
	}
	return o.by * math.Exp(-float64(at-o.to)/1800), false
}

func (w *weather) nextBurst(after int64) window {
	p := w.p
	if p.Kind != Intermittent {
		return window{from: math.MaxInt64}
	}
	from := after + int64(p.rng.ExpFloat64()*day/p.perDay)
	if from >= p.End {
		return window{from: math.MaxInt64}
	}
	return window{from, from + int64(p.between(p.shortest, p.most)), p.Size * p.between(0.7, 1.3)}
}

func (w *weather) burstAt(at int64) float64 {
	for at >= w.burst.to && w.burst.from != math.MaxInt64 {
		w.burst = w.nextBurst(w.burst.to)
	}
	if at >= w.burst.from && at < w.burst.to {
		return w.burst.by
	}
	return 0
}
