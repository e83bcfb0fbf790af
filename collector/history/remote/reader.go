package remote

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/prometheus/client_golang/api"
	prometheus "github.com/prometheus/client_golang/api/prometheus/v1"
	"github.com/prometheus/common/model"

	"lightwell/collector"
	"lightwell/collector/history"
)

// maxResult bounds what is read of an answer to a query.
const maxResult = 256 << 20

// maxSteps is how many steps one query asks for; servers refuse more than
// 11,000 (seen).
const maxSteps = 10_000

// A Reader reads readings back that a Sender has sent, or that another
// daemon has. It is a history.Source.
type Reader struct {
	client *http.Client
	api    prometheus.API
}

// NewReader returns a Reader of the query API below e's URL, to which
// /api/v1/query and /api/v1/query_range are added. Of e, Name, Protocol and
// MaxBytes are not used.
func NewReader(e Endpoint) (*Reader, error) {
	if err := e.checkAccess(); err != nil {
		return nil, fmt.Errorf("read history back: %w", err)
	}
	client, _ := newClient(e, maxResult)
	c, err := api.NewClient(api.Config{Address: e.URL.Reveal(), Client: client})
	if err != nil {
		return nil, fmt.Errorf("read history back: %w", err)
	}
	return &Reader{client: client, api: prometheus.NewAPI(c)}, nil
}

// Close closes connections that are not in use.
func (r *Reader) Close() { r.client.Transport.(*transport).base.CloseIdleConnections() }

// Query implements history.Source.
func (r *Reader) Query(ctx context.Context, q history.Query) ([]history.Series, error) {
	if err := q.Validate(); err != nil {
		return nil, err
	}
	if q.Step == 0 {
		return r.readings(ctx, q)
	}
	return r.sums(ctx, q)
}

// selector names the series that a query wants.
func selector(q history.Query) string {
	match := fmt.Sprintf(`__name__=~"%s.+",unit=%s`, namePrefix, strconv.Quote(q.Unit))
	if q.Points != nil {
		var names []string
		for _, p := range q.Points {
			if _, ok := p.Quantity.Info(); ok { // none of the table needs quoting
				names = append(names, string(p.Quantity))
			}
		}
		match += fmt.Sprintf(`,quantity=~"%s"`, strings.Join(names, "|"))
	}
	return "{" + match + "}"
}

// readings asks for every sample. A range reaches back from its end, which
// belongs to it; whether its begin does, differs between servers.
func (r *Reader) readings(ctx context.Context, q history.Query) ([]history.Series, error) {
	from, to := q.From.UnixMilli(), q.To.Add(time.Millisecond-1).UnixMilli()
	expr := fmt.Sprintf("%s[%dms]", selector(q), to-from)
	value, _, _, err := r.api.Query(ctx, expr, time.UnixMilli(to-1))
	if err != nil {
		return nil, fmt.Errorf("read history back: %w", err)
	}
	var out []history.Series
	for _, s := range matrix(value) {
		p := pointOf(s.Metric)
		if q.Points != nil && !slices.Contains(q.Points, p) {
			continue
		}
		series := history.Series{Point: p}
		for _, pair := range s.Values {
			if t := int64(pair.Timestamp); t >= from {
				v := ownUnit(p.Quantity, float64(pair.Value))
				series.Samples = append(series.Samples, history.Sample{Time: time.UnixMilli(t).UTC(), Value: v, Min: v, Max: v, Count: 1})
			}
		}
		if len(series.Samples) > 0 {
			out = append(out, series)
		}
	}
	return history.Sort(out), nil
}

// sums asks for each of the four sums.
func (r *Reader) sums(ctx context.Context, q history.Query) ([]history.Series, error) {
	from, to := q.Span()
	step := q.Step.Milliseconds()
	found := map[collector.Point]map[int64]*history.Sample{}
	for expr, set := range map[string]func(*history.Sample, float64){
		"quantile_over_time(0.5, %s[%dms])": func(s *history.Sample, v float64) { s.Value = v },
		"min_over_time(%s[%dms])":           func(s *history.Sample, v float64) { s.Min = v },
		"max_over_time(%s[%dms])":           func(s *history.Sample, v float64) { s.Max = v },
		"count_over_time(%s[%dms])":         func(s *history.Sample, v float64) { s.Count = int(v) },
	} {
		count := strings.HasPrefix(expr, "count")
		for begin := from; begin < to; begin += maxSteps * step {
			end := min(to, begin+maxSteps*step)
			span := prometheus.Range{Start: time.UnixMilli(begin + step - 1), End: time.UnixMilli(end - 1), Step: q.Step}
			value, _, _, err := r.api.QueryRange(ctx, fmt.Sprintf(expr, selector(q), step), span)
			if err != nil {
				return nil, fmt.Errorf("read history back: %w", err)
			}
			for _, s := range matrix(value) {
				p := pointOf(s.Metric)
				for _, pair := range s.Values {
					v := float64(pair.Value)
					if !count {
						v = ownUnit(p.Quantity, v)
					}
					set(slot(found, p, int64(pair.Timestamp)+1-step), v)
				}
			}
		}
	}
	return inOrder(found, q), nil
}

func slot(found map[collector.Point]map[int64]*history.Sample, p collector.Point, at int64) *history.Sample {
	if found[p] == nil {
		found[p] = map[int64]*history.Sample{}
	}
	if found[p][at] == nil {
		found[p][at] = &history.Sample{Time: time.UnixMilli(at).UTC()}
	}
	return found[p][at]
}

// inOrder puts what was found in order.
func inOrder(found map[collector.Point]map[int64]*history.Sample, q history.Query) []history.Series {
	var out []history.Series
	for p, samples := range found {
		if q.Points != nil && !slices.Contains(q.Points, p) {
			continue
		}
		s := history.Series{Point: p}
		for _, sample := range samples {
			s.Samples = append(s.Samples, *sample)
		}
		slices.SortFunc(s.Samples, func(a, b history.Sample) int { return a.Time.Compare(b.Time) })
		out = append(out, s)
	}
	return history.Sort(out)
}

func matrix(v model.Value) model.Matrix {
	m, _ := v.(model.Matrix)
	return m
}

func pointOf(m model.Metric) collector.Point {
	return collector.Point{Quantity: collector.Quantity(m[quantityLabel]), Port: string(m[portLabel])}
}

// ownUnit is the inverse of the quantity's BaseUnit. Twelve digits are more
// than any unit measures, and hide that 0.0317 A is not quite 31.7 mA.
func ownUnit(q collector.Quantity, v float64) float64 {
	factor := q.BaseUnit(1)
	if factor == 1 || v == 0 || math.IsInf(v, 0) || math.IsNaN(v) {
		return v
	}
	scale := math.Pow(10, 12-math.Ceil(math.Log10(math.Abs(v/factor))))
	return math.Round(v/factor*scale) / scale
}
