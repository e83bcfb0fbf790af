package web_test

import (
	"context"
	"errors"
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/web"
	"lightwell/collector"
	"lightwell/collector/history"
)

// past is a history that remembers what it was asked.
type past struct {
	asked history.Query
	err   error
}

func (p *past) Query(_ context.Context, q history.Query) ([]history.Series, error) {
	p.asked = q
	return []history.Series{
		{Point: collector.Point{Quantity: collector.OpticalReceivePower}, Samples: []history.Sample{{Time: day, Value: -3.5, Min: -4, Max: 0, Count: 60}}},
		{Point: collector.Point{Quantity: collector.SupplyState, Port: "b"}},
	}, p.err
}

func historyStage(t *testing.T) (*stage, *past) {
	p := &past{}
	return newStage(t, makeFleet(1, 1), day, func(c *web.Config) { c.History = p }), p
}

func TestHistoryAnswers(t *testing.T) {
	s, p := historyStage(t)
	from, to := day.Add(-48*time.Hour), day
	query := url.Values{
		"unit": {"a1-room"}, "point": {"optical_receive_power", "supply_state/b"}, "from": {from.Format(time.RFC3339)}, "to": {to.Format(time.RFC3339)}, "step": {"1h"},
	}
	w := s.get("/api/v1/history?" + query.Encode())
	require.Equal(t, http.StatusOK, w.Code, w.Body.String())
	require.JSONEq(t, `{
		"unit": "a1-room", "from": "`+from.Format(time.RFC3339)+`", "to": "`+to.Format(time.RFC3339)+`", "step": "1h0m0s",
		"series": [
			{"point": "optical_receive_power", "symbol": "dBm", "samples": [{"time": "`+day.Format(time.RFC3339)+`", "value": -3.5, "min": -4, "max": 0, "count": 60}]},
			{"point": "supply_state/b", "states": ["good", "failed", "absent"], "samples": []}
		]}`, w.Body.String())
	require.Equal(t, history.Query{Unit: "a1-room", From: from, To: to, Step: time.Hour, Points: []collector.Point{
		{Quantity: collector.OpticalReceivePower}, {Quantity: collector.SupplyState, Port: "b"},
	}}, p.asked)

	query.Set("step", "raw")
	w = s.get("/api/v1/history?" + query.Encode())
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Body.String(), `"value":-3.5}`, "a single reading has neither min nor max")
}

func TestHistoryChoosesSpanAndStep(t *testing.T) {
	s, p := historyStage(t)
	require.Equal(t, http.StatusOK, s.get("/api/v1/history?unit=a1-room").Code)
	require.WithinDuration(t, time.Now(), p.asked.To, time.Minute)
	require.Equal(t, 24*time.Hour, p.asked.To.Sub(p.asked.From))
	for span, want := range map[string]time.Duration{
		"1h": time.Minute, "24h": 10 * time.Minute, "720h": time.Hour, "4380h": 6 * time.Hour, "8760h": 24 * time.Hour, "87600h": 7 * 24 * time.Hour,
	} {
		d, err := time.ParseDuration(span)
		require.NoError(t, err)
		at := url.Values{"unit": {"a1-room"}, "to": {day.Format(time.RFC3339)}, "from": {day.Add(-d).Format(time.RFC3339)}}
		require.Equal(t, http.StatusOK, s.get("/api/v1/history?"+at.Encode()).Code)
		require.Equal(t, want, p.asked.Step, span)
	}
}

func TestHistoryRefuses(t *testing.T) {
	s, p := historyStage(t)
	for query, want := range map[string]string{
		"":                                 "unit",
		"unit=x&point=height":              "unknown quantity",
		"unit=x&step=soon":                 "write raw, or a span",
		"unit=x&step=90m":                  "whole hours",
		"unit=x&step=-1h":                  "write raw, or a span",
		"unit=x&step=1s":                   "more than 10000 samples",
		"unit=x&from=2099-01-01T00:00:00Z": "is empty",
		"unit=x&step=raw&from=2020-01-01T00:00:00Z": "at most 7 days",
	} {
		w := s.get("/api/v1/history?" + query)
		require.Equal(t, http.StatusUnprocessableEntity, w.Code, query)
		require.Contains(t, w.Body.String(), want, query)
	}
	p.err = errors.New("the other database is away: token abc")
	w := s.get("/api/v1/history?unit=x")
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
	require.NotContains(t, w.Body.String(), "token abc")
	require.Equal(t, http.StatusUnauthorized, s.do(call{method: "GET", path: "/api/v1/history?unit=x"}).Code)
}
