package history

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/prometheus/common/model"
	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/tsdb"
	"github.com/prometheus/prometheus/tsdb/chunkenc"

	"lightwell/collector"
)

const hourMS = int64(time.Hour / time.Millisecond)

// Query answers from the readings, or from the hours and, for those that are
// not summed up yet, from the readings.
func (s *Store) Query(ctx context.Context, q Query) ([]Series, error) {
	if err := q.Validate(); err != nil {
		return nil, err
	}
	end, ok := s.use.begin()
	if !ok {
		return nil, ErrAbandoned
	}
	defer end()
	var out []Series
	var err error
	if q.Step < time.Hour {
		out, err = s.readings(ctx, q)
	} else {
		out, err = s.hours(ctx, q)
	}
	if err != nil {
		return nil, fmt.Errorf("read history of unit %q: %w", q.Unit, err)
	}
	return Sort(out), nil
}

// readings answers from the raw database.
func (s *Store) readings(ctx context.Context, q Query) ([]Series, error) {
	from, to := q.Span()
	var out []Series
	step := q.Step.Milliseconds()
	err := each(ctx, s.raw, from, to, matchers(q), func(l labels.Labels, it chunkenc.Iterator) error {
		if point := pointOf(l); q.wants(point) {
			out = append(out, Series{point, collect(it, step)})
		}
		return it.Err()
	})
	return out, err
}

// collect reads every sample, or sums them up by step ms.
func collect(it chunkenc.Iterator, step int64) []Sample {
	var out []Sample
	var values []float64
	var span int64
	for it.Next() == chunkenc.ValFloat {
		t, v := it.At()
		if step == 0 {
			out = append(out, Sample{time.UnixMilli(t).UTC(), v, v, v, 1})
			continue
		}
		if begin := floor(t, step); len(values) > 0 && begin != span {
			out = append(out, sum(span, values))
			values = values[:0]
		}
		span = floor(t, step)
		values = append(values, v)
	}
	if len(values) > 0 {
		out = append(out, sum(span, values))
	}
	return out
}

// hours answers from the hourly database.
func (s *Store) hours(ctx context.Context, q Query) ([]Series, error) {
	from, to := q.Span()
	from = max(from, floor(min(firstTime(s.hourly), firstTime(s.raw)), q.Step.Milliseconds()))
	to = min(to, floor(max(lastTime(s.hourly), lastTime(s.raw)), hourMS)+hourMS)
	if from >= to {
		return nil, nil
	}
	slots := map[collector.Point][]Sample{}
	at := func(p collector.Point) []Sample {
		if slots[p] == nil {
			slots[p] = make([]Sample, (to-from)/hourMS)
		}
		return slots[p]
	}
	err := each(ctx, s.hourly, from, to, matchers(q), func(l labels.Labels, it chunkenc.Iterator) error {
		point := pointOf(l)
		set := setters[l.Get(statLabel)]
		if set == nil || !q.wants(point) {
			return nil
		}
		hours := at(point)
		for it.Next() == chunkenc.ValFloat {
			t, v := it.At()
			set(&hours[(t-from)/hourMS], v)
		}
		return it.Err()
	})
	if rolled := s.rolled.Load(); err == nil && to > rolled {
		err = each(ctx, s.raw, max(from, rolled), to, matchers(q), func(l labels.Labels, it chunkenc.Iterator) error {
			if point := pointOf(l); q.wants(point) {
				hours := at(point)
				for _, sample := range collect(it, hourMS) {
					hours[(sample.Time.UnixMilli()-from)/hourMS] = sample
				}
			}
			return it.Err()
		})
	}
	out := make([]Series, 0, len(slots))
	for point, hours := range slots {
		samples := compact(hours, from)
		if q.Step > time.Hour {
			samples = coarser(samples, q.Step.Milliseconds())
		}
		if len(samples) > 0 {
			out = append(out, Series{point, samples})
		}
	}
	return out, err
}

// compact leaves out empty hours and gives the others their time.
func compact(hours []Sample, from int64) []Sample {
	n := 0
	for i := range hours {
		if hours[i].Count > 0 {
			hours[n] = hours[i]
			hours[n].Time = time.UnixMilli(from + int64(i)*hourMS).UTC()
			n++
		}
	}
	return hours[:n]
}

// setters put what a stat of an hour says into its sample.
var setters = map[string]func(*Sample, float64){
	"median": func(s *Sample, v float64) { s.Value = v },
	"min":    func(s *Sample, v float64) { s.Min = v },
	"max":    func(s *Sample, v float64) { s.Max = v },
	"count":  func(s *Sample, v float64) { s.Count = int(v) },
}

func matchers(q Query) []*labels.Matcher {
	out := []*labels.Matcher{labels.MustNewMatcher(labels.MatchEqual, unitLabel, q.Unit)}
	if q.Points == nil {
		return out
	}
	names := make([]string, 0, len(q.Points))
	for _, p := range q.Points {
		if _, ok := p.Quantity.Info(); ok { // no other name is ever stored, and none of the table needs quoting
			names = append(names, string(p.Quantity))
		}
	}
	return append(out, labels.MustNewMatcher(labels.MatchRegexp, model.MetricNameLabel, strings.Join(names, "|")))
}

// each calls fn with every series that matches and its samples in [from, to).
func each(ctx context.Context, db *tsdb.DB, from, to int64, match []*labels.Matcher, fn func(labels.Labels, chunkenc.Iterator) error) (err error) {
	q, err := db.Querier(from, to-1)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, q.Close()) }()
	set := q.Select(ctx, false, nil, match...)
	var it chunkenc.Iterator
	for set.Next() {
		it = set.At().Iterator(it)
		if err := fn(set.At().Labels(), it); err != nil {
			return err
		}
	}
	return set.Err()
}
