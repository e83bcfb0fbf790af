// Package drifttest makes up readings of optical receive power whose truth is
// known, to judge alarms/drift by: noise, weather, season and faults of the
// sizes that practice reports, drawn anew for each seed.
//
// A point's power is a level plus white noise (0.02-0.1 dB), noise that lasts
// hours and days (to 0.03 and 0.02 dB), a share of its temperature (to
// 0.05 dB/°C, delayed to 3 h), a season that no temperature explains (to
// 0.05 dB), and dips in bad weather (to 0.3 dB and 24 h), rounded to 0.01 or
// 0.1 dB. Polls go missing, outages end in a cold start, and now and then a
// reading is garbage. The same seed gives the same readings.
package drifttest

import (
	"iter"
	"math"
	"math/rand/v2"
)

// Kinds of points.
const (
	Healthy      = "healthy"
	Drift        = "drift"
	Step         = "step"
	Intermittent = "intermittent"
	Service      = "service"
)

// Shapes of drift.
const (
	Linear      = "linear"
	Quadratic   = "quadratic"
	Exponential = "exponential"
)

const (
	day       = 86400
	monthDays = 30.4375
	limit     = 3 // dB at which a point fails
)

// A Recipe says what to make. What is zero is drawn.
type Recipe struct {
	Seed   uint64
	Kind   string  // zero: Healthy
	Days   int     // zero: 365
	Period int     // seconds between polls; zero: 1800
	Noise  float64 // factor on every noise but the quantum and the dips; zero: 1
	Dips   float64 // factor on the depth of dips; zero: 1
	Rate   float64 // dB per month at onset
	Shape  string
	Size   float64 // dB of a step or of a burst
	Start  int64   // seconds from the first reading to the fault
}

// A Point is one made-up point and its truth.
type Point struct {
	Recipe
	End  int64   // of the fault or visit, seconds since the first reading
	Fail float64 // seconds until 3 dB are lost; of drift

	rng                    *rand.Rand
	level, quantum, white  float64
	fast, fastHours        float64
	slow, slowDays         float64
	thermal, lagHours      float64
	season, seasonPhase    float64
	warm, year, noon       float64 // °C: mean, half the yearly and the daily swing
	yearPhase, missing     float64
	perDay, shortest, most float64 // bursts: number, seconds from, to
	dips, outages, garbage []window
}

type window struct {
	from, to int64
	by       float64
}

func (p *Point) between(a, b float64) float64 { return a + (b-a)*p.rng.Float64() }

func (p *Point) chance(of float64) bool { return p.rng.Float64() < of }

// New draws a point.
func New(r Recipe) *Point {
	r.Kind, r.Days, r.Period = orElse(r.Kind, Healthy), orElse(r.Days, 365), orElse(r.Period, 1800)
	r.Noise, r.Dips = orElse(r.Noise, 1), orElse(r.Dips, 1)
	p := &Point{Recipe: r, rng: rand.New(rand.NewPCG(r.Seed, 0x6c69676874))}
	p.level = p.between(-9, 2)
	p.quantum = 0.01
	if p.chance(0.5) {
		p.quantum = 0.1
	}
	p.white = r.Noise * p.between(0.02, 0.1)
	p.fast, p.fastHours = r.Noise*p.between(0, 0.03), p.between(0.5, 6)
	p.slow, p.slowDays = r.Noise*p.between(0, 0.02), p.between(1, 8)
	if p.chance(0.85) {
		p.thermal = r.Noise * p.between(-0.05, 0.05)
	}
	p.lagHours = p.between(0, 3)
	p.season, p.seasonPhase = r.Noise*p.between(0, 0.05), p.between(0, 2*math.Pi)
	p.warm, p.year, p.noon = p.between(8, 30), p.between(2, 12), p.between(1, 7)
	p.yearPhase, p.missing = p.between(0, 2*math.Pi), p.between(0.005, 0.05)
	p.dips = p.windows(p.between(2, 15), 1, 24, func() float64 { return r.Dips * p.between(0.05, 0.3) })
	p.outages = p.windows(p.between(0, 3), 1.5, 48, func() float64 { return p.between(0.2, 1.5) })
	p.garbage = p.windows(p.between(0, 2), 0, 0, func() float64 { return p.between(5, 25) })
	p.fault()
	return p
}

func orElse[T comparable](v, other T) T {
	var zero T
	if v == zero {
		return other
	}
	return v
}

// windows draws times of which so many come in a year.
func (p *Point) windows(perYear, fromHours, toHours float64, by func() float64) []window {
	var out []window
	for at := 0.0; ; {
		at += p.rng.ExpFloat64() * 365.25 * day / perYear
		if at >= float64(p.Days)*day {
			return out
		}
		out = append(out, window{int64(at), int64(at + 3600*p.between(fromHours, toHours)), by()})
	}
}

// fault draws what the recipe leaves open.
func (p *Point) fault() {
	end := int64(p.Days) * day
	p.End = end
	p.Start = orElse(p.Start, int64(day*p.between(45, min(150, float64(p.Days)/2))))
	switch p.Kind {
	case Drift:
		p.Rate = orElse(p.Rate, math.Exp(p.between(math.Log(0.02), math.Log(1))))
		shapes := []string{Linear, Linear, Quadratic, Exponential}
		p.Shape = orElse(p.Shape, shapes[p.rng.IntN(len(shapes))])
		p.Fail = p.failure()
	case Step:
		p.Size, p.Shape = orElse(p.Size, p.between(0.25, 1.2)), "step"
	case Intermittent:
		p.Size, p.Shape = orElse(p.Size, p.between(0.5, 5)), "bursts"
		p.End = min(end, p.Start+int64(day*p.between(14, 40)))
		p.perDay, p.shortest, p.most = p.between(2, 22), 60, 1800
	case Service:
		p.Size, p.Shape = orElse(p.Size, p.between(-0.5, 0.5)), "reseat"
		p.End = p.Start + 3600
	}
}

// Loss returns the true loss of drift, in dB, at a time.
func (p *Point) Loss(at float64) float64 {
	m := (at - float64(p.Start)) / (monthDays * day)
	if p.Kind != Drift || m <= 0 {
		return 0
	}
	switch p.Shape {
	case Quadratic:
		return p.Rate * m * (1 + m/8)
	case Exponential:
		return 3 * p.Rate * math.Expm1(min(m/3, 40))
	}
	return p.Rate * m
}

func (p *Point) failure() float64 {
	low, high := float64(p.Start), float64(p.Start)+1000*365.25*day
	for range 100 {
		if mid := (low + high) / 2; p.Loss(mid) < limit {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// A Reading is one poll; without an answer, Missing.
type Reading struct {
	At          int64 // seconds since the first
	Value, Temp float64
	Missing     bool
}

// Readings gives the polls in order of time. It may be used once.
func (p *Point) Readings() iter.Seq[Reading] {
	return func(yield func(Reading) bool) {
		w := newWeather(p)
		for at := int64(0); at < int64(p.Days)*day; at += int64(p.Period) {
			if !yield(w.read(at)) {
				return
			}
		}
	}
}
