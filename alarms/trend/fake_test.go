package trend_test

import (
	"context"
	"errors"
	"slices"
	"sync"

	"lightwell/collector"
	"lightwell/collector/history"
	"lightwell/collector/state"
)

// store is a trend.Store in memory.
type store struct {
	mu    sync.Mutex
	rows  map[string][]byte
	saved int
	down  bool
}

var errDown = errors.New("the database does not answer")

func (s *store) SaveTrends(_ context.Context, rows []state.TrendRow) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.down {
		return errDown
	}
	if s.rows == nil {
		s.rows = map[string][]byte{}
	}
	for _, r := range rows {
		s.rows[r.Name] = r.Body
		s.saved++
	}
	return nil
}

func (s *store) Trends(context.Context) ([]state.TrendRow, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.down {
		return nil, errDown
	}
	var out []state.TrendRow
	for name, body := range s.rows {
		out = append(out, state.TrendRow{Name: name, Body: body})
	}
	return out, nil
}

// past is a history of the polls of a stage.
type past struct {
	polls  []collector.Poll
	broken bool
	asked  int
}

func (p *past) Query(_ context.Context, q history.Query) ([]history.Series, error) {
	if p.asked++; p.broken {
		return nil, errDown
	}
	from, to := q.Span()
	of := map[collector.Point][]history.Sample{}
	for _, poll := range p.polls {
		at := poll.Started.UnixMilli()
		if poll.Unit != q.Unit || at < from || at >= to {
			continue
		}
		for _, r := range poll.Readings {
			if q.Points == nil || slices.Contains(q.Points, r.Point) {
				of[r.Point] = append(of[r.Point], history.Sample{Time: r.Taken, Value: r.Value, Min: r.Value, Max: r.Value, Count: 1})
			}
		}
	}
	var out []history.Series
	for point, samples := range of {
		if q.Step > 0 {
			samples = medians(samples, q)
		}
		out = append(out, history.Series{Point: point, Samples: samples})
	}
	return history.Sort(out), nil
}

func medians(all []history.Sample, q history.Query) []history.Sample {
	var out []history.Sample
	for len(all) > 0 {
		begin := all[0].Time.Truncate(q.Step)
		n := slices.IndexFunc(all, func(s history.Sample) bool { return !s.Time.Truncate(q.Step).Equal(begin) })
		if n < 0 {
			n = len(all)
		}
		values := make([]float64, n)
		for i := range values {
			values[i] = all[i].Value
		}
		slices.Sort(values)
		out = append(out, history.Sample{Time: begin, Value: values[n/2], Min: values[0], Max: values[n-1], Count: n})
		all = all[n:]
	}
	return out
}
