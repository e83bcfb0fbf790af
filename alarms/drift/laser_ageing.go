package drift

import (
	"math"

	"lightwell/alarms/statistic"
)

// ageing follows the index of a laser from day to day: its level by a filter,
// its slope by a line through the days, older ones counting less.
type ageing struct {
	began  int32   // day of the model
	judged int32   // newest day that could be judged
	newest float32 // index of that day
	level  float32 // filtered
	sure   float32 // variance of level
	noise  float32 // variance of a day about the level, from neighbouring days
	line   fading
	since  int32  // day since when the index is beyond its noise; 0: it is not
	missed uint16 // days without a verdict since then, because of their temperatures
	grade  uint8  // limits passed
	up     uint8  // days in a row beyond the next limit
	down   uint8  // days in a row back below the one passed last
}

func newAgeing(today int32) ageing {
	return ageing{began: today, judged: today, noise: newLaserVar, sure: newLaserVar}
}

// noiseFilter learns how far days scatter.
var noiseFilter = statistic.EWMA{Weight: 0.05}

func (a *ageing) index() float32 { return a.level }

// fresh tells whether the index was measured not long ago.
func (a *ageing) fresh(today int32) bool { return today-a.judged <= freshDays }

func (a *ageing) observe(c *LaserSettings, today int32, index float32) {
	gap := today - a.judged
	filter := statistic.LocalLevel{Noise: float64(a.noise), Walk: float64(c.Walk * c.Walk)}
	b := filter.Ahead(statistic.Belief{Mean: float64(a.level), Variance: float64(a.sure)}, int(gap))
	b, _, _ = filter.Observe(b, float64(index))
	a.level, a.sure = float32(b.Mean), float32(b.Variance)
	jump := min(float64(index-a.newest), 4*math.Sqrt(float64(a.noise)))
	a.noise = max(float32(noiseFilter.Step(float64(a.noise), jump*jump/2)), leastNoise)
	a.newest, a.judged, a.missed = index, today, 0
	a.line.add(float64(gap), float64(index), float64(c.Memory))
	a.mark(today)
	a.judge(c)
}

// mark dates the beginning of an ageing that is beyond its noise.
func (a *ageing) mark(today int32) {
	beyond := a.level > max(0.02, 4*float32(math.Sqrt(float64(a.sure))))
	switch {
	case !beyond:
		a.since = 0
	case a.since == 0:
		a.since = today
	}
}

// passed counts the limits at or below an index.
func (c *LaserSettings) passed(index float32) (n uint8) {
	for _, limit := range c.Limits {
		if index >= limit {
			n++
		}
	}
	return n
}

// judge moves the grade when enough days agree.
func (a *ageing) judge(c *LaserSettings) {
	worse, better := c.passed(a.level), c.passed(a.level+c.Back)
	a.up, a.down = count(a.up, worse > a.grade), count(a.down, better < a.grade)
	switch {
	case a.up >= c.RaiseDays:
		a.grade, a.up = worse, 0
	case a.down >= c.ClearDays:
		a.grade, a.down = better, 0
	}
}

func count(days uint8, holds bool) uint8 {
	if !holds {
		return 0
	}
	return min(days, math.MaxUint8-1) + 1
}

// fading is a straight line through days, of which one that is older by the
// memory counts for 1/e. Times count from the newest day.
type fading struct {
	w, t, tt, y, ty, yy float64 // weighted sums
	before              float64 // residual of the newest day
	alike, square       float64 // fading means of neighbouring residuals' product, and of their square
}

// add moves the time by gap days and takes a value there.
func (f *fading) add(gap, y, memory float64) {
	f.tt += gap*gap*f.w - 2*gap*f.t
	f.t -= gap * f.w
	f.ty -= gap * f.y
	for _, sum := range []*float64{&f.w, &f.t, &f.tt, &f.y, &f.ty, &f.yy} {
		*sum *= math.Exp(-gap / memory)
	}
	if slope, _, ok := f.slope(); ok {
		left := y - (f.y-slope*f.t)/f.w
		f.alike = noiseFilter.Step(f.alike, left*f.before)
		f.square = noiseFilter.Step(f.square, left*left)
		f.before = left
	}
	f.w, f.y, f.yy = f.w+1, f.y+y, f.yy+y*y
}

// slope returns the slope per day and its standard error. Days that resemble
// their neighbours count for fewer than they are.
func (f *fading) slope() (slope, se float64, ok bool) {
	det := f.w*f.tt - f.t*f.t
	if f.w < 5 || det <= 0 {
		return 0, 0, false
	}
	slope = (f.w*f.ty - f.t*f.y) / det
	start := (f.y - slope*f.t) / f.w
	left := max(0, f.yy-start*f.y-slope*f.ty) / (f.w - 2)
	r := 0.0
	if f.square > 0 {
		r = max(0, min(f.alike/f.square, 0.9))
	}
	return slope, math.Sqrt(left * f.w / det * (1 + r) / (1 - r)), true
}
