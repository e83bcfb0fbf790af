package replay

import (
	"context"
	"errors"
	"slices"
	"time"

	"lightwell/collector"
	"lightwell/collector/history"
)

// daily is the history of a replay as far as it has come: the median of each
// day of the points that forecasts ask for.
type daily struct {
	of map[place]*course
}

type place struct {
	unit  string
	point collector.Point
}

// course is the days of one point.
type course struct {
	done   []history.Sample
	day    time.Time // under way
	values []float64
}

var _ history.Source = (*daily)(nil)

var askedFor = []collector.Quantity{collector.OpticalReceivePower, collector.OpticalTransmitPower, collector.Temperature}

func (d *daily) take(p collector.Poll) {
	for i := range p.Readings {
		r := &p.Readings[i]
		if r.Quality != collector.Good || !slices.Contains(askedFor, r.Point.Quantity) {
			continue
		}
		at := place{r.Unit, r.Point}
		c := d.of[at]
		if c == nil {
			c = &course{}
			d.of[at] = c
		}
		if day := p.Started.Truncate(24 * time.Hour); !day.Equal(c.day) {
			c.close()
			c.day = day
		}
		c.values = append(c.values, r.Value)
	}
}

// close ends the day under way.
func (c *course) close() {
	n := len(c.values)
	if n == 0 {
		return
	}
	slices.Sort(c.values)
	c.done = append(c.done, history.Sample{
		Time: c.day, Value: (c.values[(n-1)/2] + c.values[n/2]) / 2, Min: c.values[0], Max: c.values[n-1], Count: n,
	})
	c.values = c.values[:0]
}

var errDaysOnly = errors.New("a replay remembers days only")

// Query implements history.Source for whole days that are over.
func (d *daily) Query(_ context.Context, q history.Query) ([]history.Series, error) {
	if q.Step != 24*time.Hour {
		return nil, errDaysOnly
	}
	from, to := q.Span()
	var out []history.Series
	for _, p := range q.Points {
		c := d.of[place{q.Unit, p}]
		if c == nil {
			continue
		}
		s := history.Series{Point: p}
		for _, sample := range c.done {
			if at := sample.Time.UnixMilli(); at >= from && at < to {
				s.Samples = append(s.Samples, sample)
			}
		}
		out = append(out, s)
	}
	return out, nil
}
