package baseline

import (
	"fmt"
	"math"
	"slices"
	"time"

	"lightwell/alarms/statistic"
	"lightwell/collector"
)

// What the statistics ask before a level is final (sizes in drift tolerances
// of Config; one is 0.1 dB for light).
const (
	dayHours     = 24
	settleDays   = 7                 // each of so many last days needs ...
	settleHours  = dayHours * 8 / 10 // ... this many hours
	halvesApart  = 0.3               // between the medians of the halves, or three standard errors
	stepSlack    = 2                 // CUSUM of an hour's difference from yesterday's level: 0.2 dB
	stepLimit    = 36                // 3.6 dB times hours: 0.5 dB for 12 hours
	stepClip     = 10
	settledApart = 3   // between what was accepted and the median of two weeks, or three standard errors
	slopeSE      = 2   // standard errors that a slope may be off
	fewestHours  = 6   // of a day that has a median
	freshOutage  = day // no outage in the last
	day          = 24 * time.Hour
)

// PointLearning is how far the learning of one point is.
type PointLearning struct {
	Point   collector.Point `json:"point"`
	Phase   Phase           `json:"phase"`
	Level   Level           `json:"level"`             // in force
	Hours   int             `json:"hours"`             // of the last two weeks that are known
	Reasons []string        `json:"reasons,omitempty"` // why it is not in the next phase, for people
}

// A lesson is what the hours of one point say.
type lesson struct {
	PointLearning
	level Level // what it should be from now on; as before when the phase is
}

// judge says of each point of the unit whether it can enter its next phase.
func (l *learner) judge(u collector.Unit, f *collector.Fleet, levels map[collector.Point]Level, cfg Config, now time.Time) []lesson {
	var out []lesson
	for _, p := range u.Equipment.Points {
		t, level := l.tracks[p], levels[p]
		if t == nil {
			continue
		}
		j := judgement{learner: l, point: p, track: t, level: level, now: now, end: l.now}
		j.info, _ = p.Quantity.Info()
		size, _, _ := cfg.tolerance(j.info, level.Value)
		j.size = max(size, leastSize)
		j.candidates = thermometers(f, u, p)
		out = append(out, j.run())
	}
	return out
}

// leastSize keeps the scales of a point apart from zero.
const leastSize = 1e-3

// judgement is the work on one point.
type judgement struct {
	*learner
	point      collector.Point
	info       collector.QuantityInfo
	track      *track
	level      Level
	size       float64 // drift tolerance
	candidates []thermometer
	now        time.Time
	end        int64 // first hour that is not over
	reasons    []string
}

func (j *judgement) doubt(format string, args ...any) {
	j.reasons = append(j.reasons, fmt.Sprintf(format, args...))
}

func (j *judgement) run() lesson {
	first := max(j.began, j.end-window)
	out := lesson{level: j.level}
	switch j.level.Phase {
	case Visit:
		if j.ripe(1) {
			out.level = j.learn(first, Provisional)
		}
	case Provisional:
		if j.ripe(window/dayHours) && j.settled(first) {
			out.level = j.learn(first, Final)
		}
	}
	out.PointLearning = PointLearning{Point: j.point, Phase: out.level.Phase, Hours: j.track.tape.count(first, j.end), Reasons: j.reasons}
	return out
}

// ripe tells whether enough time has gone by, and enough of it is known.
func (j *judgement) ripe(days int) bool {
	if left := j.began + int64(days*dayHours) - j.end; j.began == 0 || left > 0 {
		j.doubt("%d h to go of the %d h that are needed: wait", left, days*dayHours)
		return false
	}
	for back := range min(days, settleDays) {
		end := j.end - int64(back*dayHours)
		if n := j.track.tape.count(end-dayHours, end); n < settleHours {
			j.doubt("only %d of the 24 hours up to %s are known, %d are needed: see why the unit was not read", n, hourText(end), settleHours)
			return false
		}
	}
	return true
}

func hourText(hour int64) string {
	return time.Unix(hour*hourSeconds, 0).UTC().Format("2006-01-02 15:04")
}

// learn makes the level of the next phase.
func (j *judgement) learn(first int64, phase Phase) Level {
	level := j.level
	level.Phase, level.LearntAt, level.Note = phase, j.now, ""
	if s := j.track.hour.sigma(); s > 0 {
		level.Spread = max(s, level.Quantum/2, spreadFloor)
	}
	x, ok := j.temperature(first)
	level.Hours, level.TempSpanC = len(x.left), x.spanC
	level.TempCoeff, level.TempCoeffSE, level.TempSource, level.TempUnit = x.coeff, x.se, "", ""
	if ok && math.Abs(x.coeff) >= slopeSE*x.se {
		level.TempSource = x.by.source
	}
	if ok && x.by.source != OwnCase {
		level.TempUnit = x.by.unit
	}
	if ok && x.by != (thermometer{unit: j.unit, source: OwnCase}) { // which the visit has read
		level.TempRefC = x.refC
	}
	if !ok {
		level.Note = fmt.Sprintf("no temperature has moved by %d °C yet, so how it acts is not known: taken as none, ±%.3g %s/°C", leastSpan, x.se, Difference(j.info.Unit))
	}
	left := x.left
	for i := range left { // hours were brought to the first hour of the thermometer; the level belongs to TempRefC
		left[i] += x.coeff * (level.TempRefC - x.refC)
	}
	level.Settled = statistic.MedianOf(left)
	if off := level.Settled - level.Value; phase == Final && math.Abs(off) > max(settledApart*j.size, 3*j.medianError(x)) {
		level.Note = fmt.Sprintf("has settled %s off what was accepted: at the next visit see why, and accept anew", j.text(off))
	}
	return level
}

func (j *judgement) text(v float64) string {
	return fmt.Sprintf("%+.*f %s", max(j.info.Decimals, 2), v, Difference(j.info.Unit))
}

// temperature returns what explains the point; without anything, its hours as
// they are and the prior.
func (j *judgement) temperature(first int64) (explanation, bool) {
	prior := priorCoeff * j.size
	if x, ok := j.explain(j.candidates, j.track.tape, first, j.end, prior); ok {
		return x, true
	}
	x := explanation{se: prior, refC: j.level.TempRefC}
	for h := first; h < j.end; h++ {
		if v, ok := j.track.tape.at(h); ok {
			x.left, x.hours = append(x.left, v), append(x.hours, h)
		}
	}
	if g := j.gauges[j.candidates[0]]; g != nil && g.tape != nil {
		x.spanC = span(g.tape, first, j.end)
	}
	return x, false
}

func span(t *tape, first, end int64) float64 {
	low, high := math.Inf(1), math.Inf(-1)
	for h := first; h < end; h++ {
		if v, ok := t.at(h); ok {
			low, high = min(low, v), max(high, v)
		}
	}
	return max(0, high-low)
}

// medianError is the standard error of the median of the hours.
func (j *judgement) medianError(x explanation) float64 {
	days, _ := daily(x)
	if len(days) < 2 {
		return j.size
	}
	r := neighbours(centred(days))
	sd := statistic.Sigma(days, statistic.MedianOf(days), j.size/20)
	return statistic.MedianCost * sd * math.Sqrt((1+r)/(1-r)/float64(len(days)))
}

// daily returns the medians of the days of an explanation that have hours
// enough, and their places among the days.
func daily(x explanation) (medians []float64, places []int) {
	var today []float64
	flush := func(day int64) {
		if len(today) >= fewestHours {
			medians, places = append(medians, statistic.MedianOf(today)), append(places, int(day))
		}
		today = today[:0]
	}
	for i, h := range x.hours {
		if i > 0 && h/dayHours != x.hours[i-1]/dayHours {
			flush(x.hours[i-1] / dayHours)
		}
		today = append(today, x.left[i])
	}
	if n := len(x.hours); n > 0 {
		flush(x.hours[n-1] / dayHours)
	}
	return medians, places
}

func centred(values []float64) []float64 {
	m := statistic.MedianOf(values)
	out := slices.Clone(values)
	for i := range out {
		out[i] -= m
	}
	return out
}

// settled tells whether two weeks of hours are at rest.
func (j *judgement) settled(first int64) bool {
	x, _ := j.temperature(first)
	days, _ := daily(x)
	j.halves(x, days)
	j.slope(days)
	j.step(x)
	if ago := j.now.Sub(j.outage); !j.outage.IsZero() && ago < freshOutage {
		j.doubt("it was not read, restarted or was dark at %s: wait until that is a day ago", j.outage.UTC().Format("2006-01-02 15:04"))
	}
	return len(j.reasons) == 0
}

// halves doubts two weeks whose medians differ by more than the days of each
// scatter about its own.
func (j *judgement) halves(x explanation, days []float64) {
	n, half := len(x.left)/2, len(days)/2
	if n == 0 || half < 2 {
		return
	}
	off := statistic.MedianOf(x.left[n:]) - statistic.MedianOf(x.left[:n])
	apart := append(centred(days[:half]), centred(days[half:])...)
	r := neighbours(apart)
	se := statistic.MedianCost * statistic.Sigma(apart, 0, j.size/20) * math.Sqrt((1+r)/(1-r)*2/float64(half))
	if math.Abs(off) > max(halvesApart*j.size, 3*se) {
		j.doubt("its second week is %s off its first: wait, or find out what changes", j.text(off))
	}
}

// slope doubts a trend that is beyond two standard errors.
func (j *judgement) slope(days []float64) {
	if len(days) < 4 {
		return
	}
	trend := statistic.MannKendall(days)
	r := neighbours(detrended(days, trend.Slope()))
	low, high := trend.Limits(slopeSE, (1+r)/(1-r))
	if low > 0 || high < 0 {
		const month = 30.4375
		j.doubt("it changes by %s a month (%s to %s): wait, or find out what changes", j.text(trend.Slope()*month), j.text(low*month), j.text(high*month))
	}
}

func detrended(values []float64, slope float64) []float64 {
	out := slices.Clone(values)
	for i := range out {
		out[i] -= slope * float64(i)
	}
	return centred(out)
}

// step doubts a jump: an hour is compared with the median of the day before.
func (j *judgement) step(x explanation) {
	chart := statistic.CUSUM{Allowance: stepSlack * j.size, Limit: stepLimit * j.size}
	var sums statistic.Sums
	days, places := daily(x)
	clip := stepClip * j.size
	for i, h := range x.hours {
		at := slices.Index(places, int(h/dayHours)-1)
		if at < 0 {
			continue
		}
		sums = chart.Step(sums, max(-clip, min(x.left[i]-days[at], clip)))
		if chart.Signal(sums) != 0 {
			change, ok := statistic.ChangePoint(x.left, fewestHours)
			if ok {
				j.doubt("it jumped by %s about %s: find out what happened", j.text(change.After-change.Before), hourText(x.hours[change.At]))
			}
			return
		}
	}
}
