package web

import (
	"context"
	"fmt"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"go.uber.org/zap"

	"lightwell/alarms/web/access"
	"lightwell/collector"
	"lightwell/collector/history"
)

// History is what one unit's points read.
type History struct {
	Unit   string          `json:"unit"`
	From   time.Time       `json:"from"`
	To     time.Time       `json:"to"`
	Step   string          `json:"step" doc:"Span that each sample sums up; raw: every reading."`
	Series []HistorySeries `json:"series"`
}

// HistorySeries is what one point read.
type HistorySeries struct {
	Point   string          `json:"point"`
	Symbol  string          `json:"symbol,omitempty" doc:"Unit of the values."`
	States  []string        `json:"states,omitempty" doc:"A value is a place in this list, from 0; missing where it is a measure."`
	Samples []HistorySample `json:"samples"`
}

// HistorySample is one reading, or the readings of a span.
type HistorySample struct {
	Time  time.Time `json:"time" doc:"When it was read, or when the span begins."`
	Value float64   `json:"value" doc:"The reading, or the median of those of the span."`
	Min   *float64  `json:"min,omitempty"`
	Max   *float64  `json:"max,omitempty"`
	Count int       `json:"count,omitempty" doc:"Readings in the span."`
}

// historyQuery is the query of the history.
type historyQuery struct {
	Unit  string    `query:"unit" required:"true" minLength:"1" maxLength:"200"`
	Point []string  `query:"point,explode" maxItems:"100" doc:"Quantity, or quantity/port; may be repeated. Without it: every point of the unit."`
	From  time.Time `query:"from" doc:"Without it: a day before to."`
	To    time.Time `query:"to" doc:"Without it: now."`
	Step  string    `query:"step" maxLength:"20" doc:"Span that a sample sums up, such as 10m or 24h, whole hours from an hour upward; raw: every reading. Without it: one that gives some hundreds of samples."`
}

// Limits of one answer.
const (
	maxRawSpan     = 7 * 24 * time.Hour
	maxSteps       = 10_000
	historyTimeout = 20 * time.Second
)

// fitting are the steps chosen from when the query names none.
var fitting = []time.Duration{time.Minute, 10 * time.Minute, time.Hour, 6 * time.Hour, 24 * time.Hour, 7 * 24 * time.Hour}

const fittingSamples = 1000

func (s *Server) registerHistory(api huma.API) {
	if s.cfg.History == nil {
		return
	}
	op := s.operation(api, access.See, http.MethodGet, "/history", "history", "What a unit's points read over time; a gap is a span without a good reading",
		http.StatusUnprocessableEntity, http.StatusServiceUnavailable)
	huma.Register(api, op, func(ctx context.Context, in *historyQuery) (*answer[History], error) {
		q, err := in.query(time.Now())
		if err != nil {
			return nil, huma.Error422UnprocessableEntity(err.Error())
		}
		ctx, cancel := context.WithTimeout(ctx, historyTimeout)
		defer cancel()
		series, err := s.cfg.History.Query(ctx, q)
		if err != nil {
			s.cfg.Log.Error("read history", zap.String("unit", q.Unit), zap.Error(err))
			return nil, huma.Error503ServiceUnavailable("the history cannot be read now; the log says why")
		}
		return &answer[History]{historyAnswer(q, series)}, nil
	})
}

// query checks what was asked for and fills in what was not.
func (in *historyQuery) query(now time.Time) (history.Query, error) {
	q := history.Query{Unit: in.Unit, From: in.From, To: in.To}
	if q.To.IsZero() {
		q.To = now.UTC()
	}
	if q.From.IsZero() {
		q.From = q.To.Add(-24 * time.Hour)
	}
	for _, name := range in.Point {
		p, err := collector.ParsePoint(name)
		if err != nil {
			return q, err
		}
		q.Points = append(q.Points, p)
	}
	span := q.To.Sub(q.From)
	var err error
	switch in.Step {
	case "":
		q.Step = fit(span)
	case "raw":
	default:
		if q.Step, err = time.ParseDuration(in.Step); err != nil || q.Step <= 0 {
			return q, fmt.Errorf("step %q: write raw, or a span such as 10m or 24h", in.Step)
		}
	}
	if err := q.Validate(); err != nil {
		return q, err
	}
	switch {
	case q.Step == 0 && span > maxRawSpan:
		return q, fmt.Errorf("every reading is given for at most %d days at once; ask for a shorter span, or for a step", int(maxRawSpan.Hours()/24))
	case q.Step > 0 && span/q.Step > maxSteps:
		return q, fmt.Errorf("that are more than %d samples a point; ask for a shorter span, or for a longer step", maxSteps)
	}
	return q, nil
}

// fit chooses a step for a span.
func fit(span time.Duration) time.Duration {
	for _, step := range fitting {
		if span/step <= fittingSamples {
			return step
		}
	}
	return fitting[len(fitting)-1]
}

func historyAnswer(q history.Query, series []history.Series) History {
	out := History{Unit: q.Unit, From: q.From.UTC(), To: q.To.UTC(), Step: "raw", Series: make([]HistorySeries, len(series))}
	if q.Step > 0 {
		out.Step = q.Step.String()
	}
	for i, s := range series {
		info, _ := s.Point.Quantity.Info()
		row := HistorySeries{Point: s.Point.String(), Symbol: info.Unit, States: info.States, Samples: make([]HistorySample, len(s.Samples))}
		for j := range s.Samples {
			sample := &s.Samples[j]
			row.Samples[j] = HistorySample{Time: sample.Time, Value: sample.Value}
			if q.Step > 0 {
				row.Samples[j].Min, row.Samples[j].Max, row.Samples[j].Count = &sample.Min, &sample.Max, sample.Count
			}
		}
		out.Series[i] = row
	}
	return out
}
