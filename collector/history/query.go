package history

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"lightwell/collector"
)

// A Source answers queries: the Store, or another database by package remote.
type Source interface {
	Query(ctx context.Context, q Query) ([]Series, error)
}

// A Query asks for points of one unit in a span of time.
type Query struct {
	Unit     string
	Points   []collector.Point // nil: all
	From, To time.Time         // From inclusive, To exclusive
	// Step is the span that one sample sums up; 0: every reading. Spans begin
	// at whole multiples of Step since 1970 in UTC, so From and To are widened
	// to such. From one hour upward Step is in whole hours, and a sample older
	// than the readings comes from the hourly sums.
	Step time.Duration
}

// Validate tells what is wrong with a query.
func (q Query) Validate() error {
	switch {
	case q.Unit == "":
		return errors.New("the query names no unit")
	case !q.From.Before(q.To):
		return fmt.Errorf("the span from %s to %s is empty", q.From.Format(time.RFC3339), q.To.Format(time.RFC3339))
	case q.Step < 0 || q.Step > 0 && q.Step < time.Second:
		return fmt.Errorf("step %s is below one second; use 0 for every reading", q.Step)
	case q.Step >= time.Hour && q.Step%time.Hour != 0:
		return fmt.Errorf("step %s is not in whole hours; below one hour any step will do", q.Step)
	}
	return nil
}

// Span returns the query's milliseconds, widened to whole steps: [from, to).
func (q Query) Span() (from, to int64) {
	from, to = q.From.UnixMilli(), q.To.Add(time.Millisecond-1).UnixMilli()
	if step := q.Step.Milliseconds(); step > 0 {
		from = floor(from, step)
		to = -floor(-to, step)
	}
	return from, to
}

func (q Query) wants(p collector.Point) bool { return q.Points == nil || slices.Contains(q.Points, p) }

// Series is what one point read.
type Series struct {
	Point   collector.Point
	Samples []Sample // by time; a span without a good reading has none
}

// A Sample sums up the readings of a span, or is one reading.
type Sample struct {
	Time  time.Time // begin of the span, or when the reading was taken; UTC
	Value float64   // median of the readings; over several hours, the median of the hours' medians
	Min   float64
	Max   float64
	Count int // of readings; 1 without a step
}

// Sort puts series in the order of their points, and returns them.
func Sort(all []Series) []Series {
	slices.SortFunc(all, func(a, b Series) int { return strings.Compare(a.Point.String(), b.Point.String()) })
	return all
}

// floor returns the largest multiple of step that is not above t.
func floor(t, step int64) int64 {
	r := t % step
	if r < 0 {
		r += step
	}
	return t - r
}

// sum is the sample of values, which it sorts.
func sum(at int64, values []float64) Sample {
	slices.Sort(values)
	n := len(values)
	median := values[n/2]
	if n%2 == 0 {
		median = (values[n/2-1] + median) / 2
	}
	return Sample{time.UnixMilli(at).UTC(), median, values[0], values[n-1], n}
}

// coarser sums up samples, in order of time, by step ms.
func coarser(samples []Sample, step int64) []Sample {
	var out []Sample
	var medians []float64
	for i := 0; i < len(samples); {
		at := floor(samples[i].Time.UnixMilli(), step)
		s := samples[i]
		medians, s.Count = medians[:0], 0
		for ; i < len(samples) && samples[i].Time.UnixMilli() < at+step; i++ {
			medians = append(medians, samples[i].Value)
			s.Min, s.Max = min(s.Min, samples[i].Min), max(s.Max, samples[i].Max)
			s.Count += samples[i].Count
		}
		m := sum(at, medians)
		s.Time, s.Value = m.Time, m.Value
		out = append(out, s)
	}
	return out
}
