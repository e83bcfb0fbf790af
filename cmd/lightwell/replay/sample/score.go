package sample

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
)

const (
	commissioning = 14 * day
	merge         = 7 * day  // alarms of a series closer to the one before are one alarm
	apart         = 10 * day // one prediction of a series counts in each span of this length
)

// A Score is how detections compare with the truth.
type Score struct {
	PointYears float64 // healthy, after commissioning
	False      map[string]int
	Faults     map[string]*FaultScore // by name of the class
	Forecasts  [4]ForecastScore       // by share of the limit lost: below 10, 30, 60, 100 %
	Predicted  int                    // drifting series with a forecast that counts
	Drifting   int
}

// A FaultScore is how one class of faults was found. Delays are in days.
type FaultScore struct {
	Faults              int
	Delays, Losses, Led []float64 // of those found; the last two of drift
	TooLate             int
}

// A ForecastScore is how good forecasts were.
type ForecastScore struct {
	Errors, LogErrors []float64 // relative, and |ln(predicted/true)| of the time left
	Inside, Intervals int
	Widths            []float64 // upper over lower end
}

// FalseAlarms returns how many there were, and how many per 100 point-years.
func (s *Score) FalseAlarms() (n int, rate float64) {
	for _, of := range s.False {
		n += of
	}
	return n, 100 * float64(n) / s.PointYears
}

// Judge compares detections with labels. A detection of a series without a
// label is an error.
func Judge(labels map[string]*Label, detections []Detection) (*Score, error) {
	bySeries := map[string][]Detection{}
	for _, d := range detections {
		if labels[d.Series] == nil {
			return nil, fmt.Errorf("score: series %q has detections and no label", d.Series)
		}
		bySeries[d.Series] = append(bySeries[d.Series], d)
	}
	s := &Score{False: map[string]int{}, Faults: map[string]*FaultScore{}}
	for _, name := range slices.Sorted(maps.Keys(labels)) {
		l, ds := labels[name], bySeries[name]
		slices.SortStableFunc(ds, func(a, b Detection) int { return int(a.Time - b.Time) })
		s.alarms(l, ds)
		if l.Kind == kindDrift {
			s.Drifting++
			s.forecasts(l, ds)
		}
	}
	return s, nil
}

// alarms judges the alarms of one series.
func (s *Score) alarms(l *Label, ds []Detection) {
	end := l.Days * day
	fault := faultKinds[l.Kind]
	start, stop := end, end
	if fault {
		start = l.Start
	}
	if l.Kind == kindIntermittent {
		stop = min(end, l.End+merge)
	}
	healthy := max(0, start-commissioning)
	if fault {
		healthy += max(0, end-stop)
	}
	s.PointYears += healthy / (365.25 * day)
	last, first := math.Inf(-1), math.NaN()
	for _, d := range ds {
		if !faultKinds[d.Kind] {
			continue
		}
		at := float64(d.Time)
		fresh := at-last > merge
		last = at
		if fault && start <= at && at <= stop {
			if math.IsNaN(first) {
				first = at
			}
		} else if fresh {
			s.False[d.Kind]++
		}
	}
	if fault {
		s.found(l, first)
	}
}

// class names the group that a fault is counted in.
func (l *Label) class() string {
	name := func(what string, v float64, limits []float64, names []string, unit string) string {
		return what + " " + names[sort.Search(len(limits), func(i int) bool { return v < limits[i] })] + " " + unit
	}
	switch l.Kind {
	case kindDrift:
		return name("drift", l.Rate, []float64{0.05, 0.1, 0.3}, []string{"<0.05", "0.05-0.1", "0.1-0.3", ">=0.3"}, "dB/month")
	case kindStep:
		return name("step", l.Magnitude, []float64{0.3, 0.7}, []string{"<0.3", "0.3-0.7", ">=0.7"}, "dB")
	}
	return l.Kind
}

// found counts a fault that was first told at a time, NaN: never.
func (s *Score) found(l *Label, first float64) {
	f := s.Faults[l.class()]
	if f == nil {
		f = &FaultScore{}
		s.Faults[l.class()] = f
	}
	f.Faults++
	if math.IsNaN(first) {
		return
	}
	f.Delays = append(f.Delays, (first-l.Start)/day)
	if l.Kind == kindDrift {
		lead := (l.Fail - first) / day
		f.Led, f.Losses = append(f.Led, lead), append(f.Losses, l.loss(first))
		if lead <= 0 {
			f.TooLate++
		}
	}
}

// forecasts judges the forecasts of one drifting series, before it failed.
func (s *Score) forecasts(l *Label, ds []Detection) {
	seen := map[int64]bool{}
	for _, d := range ds {
		at, span := float64(d.Time), d.Time/apart
		if math.IsNaN(d.Fail) || at < l.Start || at >= l.Fail || seen[span] {
			continue
		}
		if len(seen) == 0 {
			s.Predicted++
		}
		seen[span] = true
		share := l.loss(at) / limitDB
		left, told := l.Fail-at, max(d.Fail-at, 1)
		f := &s.Forecasts[sort.Search(3, func(i int) bool { return share < []float64{0.1, 0.3, 0.6}[i] })]
		f.Errors = append(f.Errors, math.Abs(told-left)/left)
		f.LogErrors = append(f.LogErrors, math.Abs(math.Log(told/left)))
		if math.IsNaN(d.Low) || math.IsNaN(d.High) {
			continue
		}
		f.Intervals++
		if d.Low <= l.Fail && l.Fail <= d.High {
			f.Inside++
		}
		f.Widths = append(f.Widths, max(d.High-at, 1)/max(d.Low-at, 1))
	}
}

// quantile interpolates between the values of a sorted copy; NaN of none.
func quantile(v []float64, q float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	v = slices.Sorted(slices.Values(v))
	at := q * float64(len(v)-1)
	i := int(at)
	j := min(i+1, len(v)-1)
	if at == float64(i) || v[i] == v[j] {
		return v[i]
	}
	return v[i] + (v[j]-v[i])*(at-float64(i))
}
