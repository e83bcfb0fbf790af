package alarms

import (
	"math"
	"slices"
	"time"

	"lightwell/collector"
)

// Past is the short memory of a point: enough to tell a step from a ramp, and
// a contact that comes and goes from one that is gone. It is lost when the
// daemon stops; a point that is away from its baseline from the first reading
// on then has an unknown past.
type Past struct {
	Settled bool           // it has been near its baseline since the memory began
	Left    time.Time      // when it left; zero: it is there, or nobody saw it leave
	First   float64        // deviation at the first reading after it left
	Returns int            // how often it came back and left again within a day
	steps   [rough]float32 // newest moves from one reading to the next, in a ring
	last    float64        // deviation at the last reading
	count   uint32         // readings so far
}

// rough is over how many moves roughness goes.
const rough = 8

// Rough returns the standard deviation from one reading to the next, from the
// median of the last moves: neither a mean that moves nor a step counts in it.
// For normal noise the median move is 0.954 standard deviations. 0: too few
// readings.
func (p *Past) Rough() float64 {
	if p.count <= rough/2 {
		return 0
	}
	moves := p.steps
	n := min(int(p.count)-1, rough)
	slices.Sort(moves[:n])
	return float64(moves[n/2]) / 0.954
}

// move takes the step to the newest reading into the ring.
func (p *Past) move(deviation float64) {
	if p.count > 0 {
		p.steps[(p.count-1)%rough] = float32(math.Abs(deviation - p.last))
	}
	p.last, p.count = deviation, p.count+1
}

// Shape is the course of a deviation in time.
type Shape uint8

// Shapes.
const (
	ShapeUnknown Shape = iota
	ShapeStep          // all of it between two polls
	ShapeRamp          // little by little
	ShapeComes         // comes and goes
)

// away is from where on a deviation counts as one: five standard deviations,
// the least of which is the point's own resolution.
func away(pv *PointView) float64 {
	return 5 * max(pv.Baseline.Spread, pv.Baseline.Quantum/2, 1e-3)
}

// returnsAfter is how long a departure is remembered after a return.
const returnsAfter = 24 * time.Hour

// follow takes the newest deviation into the memory.
func (pv *PointView) follow() {
	p := &pv.Past
	if !pv.Compared {
		return
	}
	p.move(pv.Deviation)
	switch size, band := math.Abs(pv.Deviation), away(pv); {
	case size <= band && !p.Left.IsZero() && size > band/2: // not back yet
	case size <= band:
		if !p.Left.IsZero() && pv.Reading.Taken.Sub(p.Left) > returnsAfter {
			p.Returns = 0
		}
		p.Settled, p.Left = true, time.Time{}
	case p.Left.IsZero() && p.Settled && p.First != 0 && p.Returns < math.MaxInt16:
		p.Returns++
		fallthrough
	case p.Left.IsZero() && p.Settled:
		p.Left, p.First = pv.Reading.Taken, pv.Deviation
	}
}

// Shape tells how the deviation came about.
func (pv *PointView) Shape() Shape {
	p := &pv.Past
	switch {
	case p.Returns >= 2:
		return ShapeComes
	case p.Left.IsZero() || !pv.Compared:
		return ShapeUnknown
	case math.Abs(p.First) >= 0.7*math.Abs(pv.Deviation):
		if math.Abs(pv.Deviation) < 2*away(pv) {
			return ShapeUnknown // so near to the band that a ramp looks the same
		}
		return ShapeStep
	case math.Abs(p.First) <= 0.5*math.Abs(pv.Deviation):
		return ShapeRamp
	}
	return ShapeUnknown
}

// A Daily is the first harmonic of a day in the course of a point, by least
// squares over about two days, the newest weighing most: a + b·cos + c·sin of
// the hour angle (harmonic regression, as in the analysis of tides; common
// practice).
type Daily struct {
	at                      time.Time
	w, c, s, cc, ss, cs     float64 // normal equations
	y, yc, ys, yy           float64
	Amplitude, Phase, Share float64 // result: amplitude, angle of the greatest value, part of the variance explained
	covered                 float64 // days seen
}

// Times of a Daily.
const (
	dailyMemory = 2.0 // days
	dailyLeast  = 2.2 // days before anything is said
)

// dailyOf are the quantities whose course over the day is followed: what the
// temperature may move, and temperature.
func dailyOf(q collector.Quantity) bool {
	return q == collector.OpticalReceivePower || q == collector.OpticalTransmitPower || q == collector.Temperature
}

// take adds a value.
func (d *Daily) take(t time.Time, v float64) {
	days := t.Sub(d.at).Hours() / 24
	first := d.at.IsZero()
	d.at = t
	if first || days <= 0 {
		return
	}
	d.covered += min(days, 0.25)
	k, w := math.Exp(-days/dailyMemory), min(days, 0.25)
	for _, sum := range []*float64{&d.w, &d.c, &d.s, &d.cc, &d.ss, &d.cs, &d.y, &d.yc, &d.ys, &d.yy} {
		*sum *= k
	}
	sin, cos := math.Sincos(2 * math.Pi * float64(t.Unix()%86400) / 86400)
	d.w += w
	d.c, d.s, d.cc, d.ss, d.cs = d.c+w*cos, d.s+w*sin, d.cc+w*cos*cos, d.ss+w*sin*sin, d.cs+w*cos*sin
	d.y, d.yc, d.ys, d.yy = d.y+w*v, d.yc+w*v*cos, d.ys+w*v*sin, d.yy+w*v*v
	d.solve()
}

// solve works out the result: two unknowns after the means are taken out.
func (d *Daily) solve() {
	d.Amplitude, d.Phase, d.Share = 0, 0, 0
	if d.covered < dailyLeast {
		return
	}
	cc, ss, cs := d.cc-d.c*d.c/d.w, d.ss-d.s*d.s/d.w, d.cs-d.c*d.s/d.w
	yc, ys, yy := d.yc-d.y*d.c/d.w, d.ys-d.y*d.s/d.w, d.yy-d.y*d.y/d.w
	det := cc*ss - cs*cs
	if det <= 1e-6*d.w*d.w || yy <= 0 {
		return
	}
	a, b := (yc*ss-ys*cs)/det, (ys*cc-yc*cs)/det
	d.Amplitude, d.Phase, d.Share = math.Hypot(a, b), math.Atan2(b, a), min((a*yc+b*ys)/yy, 1)
}
