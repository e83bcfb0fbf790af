package chart

import (
	"math"
	"strconv"
	"time"

	"gonum.org/v1/plot"
)

// numbers are the marks of an axis of numbers: steps of 1, 2 or 5, at most
// about so many.
type numbers int

// Ticks is called by the plot.
func (n numbers) Ticks(low, high float64) []plot.Tick {
	step, digits := niceStep((high - low) / float64(n))
	if step == 0 {
		return nil
	}
	var out []plot.Tick
	for i := math.Ceil(low/step - 1e-9); i*step <= high+step*1e-9; i++ {
		out = append(out, plot.Tick{Value: i * step, Label: signed(i*step, digits)})
	}
	return out
}

// niceStep returns the step of 1, 2 or 5 next above want, and the digits after
// the point that it needs.
func niceStep(want float64) (step float64, digits int) {
	if !(want > 0) || math.IsInf(want, 0) {
		return 0, 0
	}
	exponent := math.Floor(math.Log10(want))
	unit := math.Pow(10, exponent)
	for _, m := range []float64{1, 2, 5, 10} {
		if step = m * unit; step >= want*(1-1e-9) {
			if m == 10 {
				exponent++
			}
			break
		}
	}
	return step, int(max(0, -exponent))
}

// signed writes a number with a minus sign instead of a hyphen.
func signed(v float64, digits int) string {
	s := strconv.FormatFloat(v, 'f', digits, 64)
	if math.Abs(v) < 0.5*math.Pow(10, -float64(digits)) {
		return strconv.FormatFloat(0, 'f', digits, 64)
	}
	if s[0] == '-' {
		return "\u2212" + s[1:]
	}
	return s
}

// calendar are the marks of an axis of time, at whole hours, days, months or
// years of a zone. Values are seconds since 1970.
type calendar struct {
	zone *time.Location
	most int // marks
}

// A rhythm is one way to divide time.
type rhythm struct {
	years, months, days, hours int
	about                      time.Duration
	label, first               string // layout of a mark, and of the first in a year or day
}

const day = 24 * time.Hour

var rhythms = []rhythm{
	{hours: 1, about: time.Hour, label: "15:04", first: "15:04\n2 Jan 2006"},
	{hours: 3, about: 3 * time.Hour, label: "15:04", first: "15:04\n2 Jan 2006"},
	{hours: 6, about: 6 * time.Hour, label: "15:04", first: "15:04\n2 Jan 2006"},
	{hours: 12, about: 12 * time.Hour, label: "15:04", first: "15:04\n2 Jan 2006"},
	{days: 1, about: day, label: "2 Jan", first: "2 Jan\n2006"},
	{days: 2, about: 2 * day, label: "2 Jan", first: "2 Jan\n2006"},
	{days: 7, about: 7 * day, label: "2 Jan", first: "2 Jan\n2006"},
	{days: 14, about: 14 * day, label: "2 Jan", first: "2 Jan\n2006"},
	{months: 1, about: 30 * day, label: "Jan", first: "Jan\n2006"},
	{months: 2, about: 61 * day, label: "Jan", first: "Jan\n2006"},
	{months: 3, about: 91 * day, label: "Jan", first: "Jan\n2006"},
	{months: 6, about: 182 * day, label: "Jan", first: "Jan\n2006"},
	{years: 1, about: 365 * day, label: "2006", first: "2006"},
	{years: 2, about: 730 * day, label: "2006", first: "2006"},
	{years: 5, about: 1826 * day, label: "2006", first: "2006"},
}

// Ticks is called by the plot.
func (c calendar) Ticks(low, high float64) []plot.Tick {
	r := rhythms[len(rhythms)-1]
	for _, try := range rhythms {
		if (high-low)/try.about.Seconds() <= float64(c.most) {
			r = try
			break
		}
	}
	var out []plot.Tick
	last := time.Time{}
	for at := r.start(moment(low, c.zone)); seconds(at) <= high; at = r.next(at) {
		if seconds(at) < low {
			continue
		}
		layout := r.label
		if last.IsZero() || at.Year() != last.Year() || r.hours > 0 && at.YearDay() != last.YearDay() {
			layout = r.first
		}
		out = append(out, plot.Tick{Value: seconds(at), Label: at.Format(layout)})
		last = at
	}
	return out
}

// start returns a mark at or before t.
func (r rhythm) start(t time.Time) time.Time {
	y, m, d := t.Date()
	switch {
	case r.years > 0:
		return time.Date(y-y%r.years, 1, 1, 0, 0, 0, 0, t.Location())
	case r.months > 0:
		return time.Date(y, m-(m-1)%time.Month(r.months), 1, 0, 0, 0, 0, t.Location())
	}
	return time.Date(y, m, d, 0, 0, 0, 0, t.Location())
}

// next counts on the calendar, so that a day of 23 or 25 hours is one day. It
// is always later, also where the clock skips the hour or the midnight.
func (r rhythm) next(t time.Time) time.Time {
	y, m, d := t.Date()
	hour := 0
	if r.hours > 0 {
		hour = (t.Hour()/r.hours + 1) * r.hours
	}
	if next := time.Date(y+r.years, m+time.Month(r.months), d+r.days, hour, 0, 0, 0, t.Location()); next.After(t) {
		return next
	}
	return t.Add(time.Duration(max(r.hours, 1)) * time.Hour)
}

func seconds(t time.Time) float64 { return float64(t.UnixMilli()) / 1000 }

func moment(s float64, zone *time.Location) time.Time {
	return time.UnixMilli(int64(s * 1000)).In(zone)
}
