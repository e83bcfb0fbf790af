package web_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/notify"
	"lightwell/alarms/web"
	"lightwell/collector/state"
)

// hooks are webhooks with one endpoint, noc.
type hooks struct {
	entries []notify.Entry
	resumed string
	resent  []string
	fault   error
}

func (h *hooks) known(endpoint string) error {
	if endpoint != "noc" {
		return fmt.Errorf("%w: %q", notify.ErrNoEndpoint, endpoint)
	}
	return h.fault
}

func (h *hooks) Stats() []notify.Stats {
	return []notify.Stats{{Endpoint: "noc", State: notify.Failing, Dead: 1}}
}

func (h *hooks) Entries(endpoint string) ([]notify.Entry, error) { return h.entries, h.known(endpoint) }

func (h *hooks) Resume(endpoint string) error {
	h.resumed = endpoint
	return h.known(endpoint)
}

func (h *hooks) Resend(endpoint string, ids ...string) (int, error) {
	h.resent = ids
	return 1, h.known(endpoint)
}

func (h *hooks) Drop(endpoint string, _ ...string) (int, error) { return 2, h.known(endpoint) }

// journal is a log of changes in memory, newest first.
type journal struct {
	rows  []state.ChangeRow
	lines []state.AuditRow
	asked state.Filter
	fault error
}

func (j *journal) Record(r state.AuditRow) { j.lines = append(j.lines, r) }

func (j *journal) Changes(_ context.Context, f state.Filter) ([]state.ChangeRow, error) {
	j.asked = f
	var out []state.ChangeRow
	for _, r := range j.rows {
		if (f.Before == 0 || r.Entry < f.Before) && len(out) < f.Limit {
			out = append(out, r)
		}
	}
	return out, j.fault
}

func withJournal(h *hooks, j *journal) func(*web.Config) {
	return func(c *web.Config) { c.Webhooks, c.Journal = h, j }
}

func TestDeliveries(t *testing.T) {
	at := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	h := &hooks{entries: []notify.Entry{
		{Endpoint: "noc", ID: "evt_1", Alarm: "a", Type: "lightwell.alarm.raised", Created: at, State: notify.Dead, Attempts: 9, Reason: "answered 500", Body: []byte("secret")},
		{Endpoint: "noc", ID: "evt_2", Alarm: "b", Created: at, State: notify.Pending, NextAttempt: at.Add(time.Hour)},
	}}
	j := &journal{}
	s := newStage(t, makeFleet(1, 2), at, withJournal(h, j))
	for path, want := range map[string]string{
		"/api/v1/webhooks":                        `"dead":1`,
		"/api/v1/deliveries":                      `"total":2`,
		"/api/v1/deliveries?state=dead":           `"reason":"answered 500"`,
		"/api/v1/deliveries?state=pending":        `"next_attempt":"2026-03-01T13:00:00Z"`,
		"/api/v1/deliveries?endpoint=noc&limit=1": `"next":"noc evt_1"`,
		"/api/v1/deliveries?after=noc+evt_1":      `"id":"evt_2"`,
		"/api/v1/deliveries?state=dead&limit=1":   `"total":1`,
	} {
		w := s.get(path)
		require.Equal(t, http.StatusOK, w.Code, "%s: %s", path, w.Body)
		require.Contains(t, w.Body.String(), want, path)
		require.NotContains(t, w.Body.String(), "secret")
	}
	require.Equal(t, http.StatusNotFound, s.get("/api/v1/deliveries?endpoint=nobody").Code)

	post := func(path, body string) int {
		return s.do(call{method: "POST", path: path, body: body, secret: operateSecret}).Code
	}
	require.Equal(t, http.StatusOK, post("/api/v1/deliveries/resend", `{"endpoint": "noc", "ids": ["evt_1"]}`))
	require.Equal(t, []string{"evt_1"}, h.resent)
	require.Equal(t, http.StatusNotFound, post("/api/v1/deliveries/resend", `{"endpoint": "nobody"}`))
	require.Equal(t, http.StatusOK, post("/api/v1/deliveries/drop", `{"endpoint": "noc"}`))
	require.Equal(t, http.StatusUnprocessableEntity, post("/api/v1/deliveries/resend", `{}`))
	require.Equal(t, http.StatusNoContent, post("/api/v1/webhooks/noc/resume", ""))
	require.Equal(t, "noc", h.resumed)
	require.Equal(t, http.StatusNotFound, post("/api/v1/webhooks/nobody/resume", ""))
	require.Equal(t, http.StatusForbidden, s.do(call{method: "POST", path: "/api/v1/deliveries/resend", body: `{"endpoint": "noc"}`, secret: seeSecret}).Code)
	h.fault = fmt.Errorf("list: %w", state.ErrUnreachable)
	require.Equal(t, http.StatusServiceUnavailable, post("/api/v1/deliveries/resend", `{"endpoint": "noc"}`))
	require.Len(t, j.lines, 3, "what was done, not what was refused")
	require.Equal(t, "deliveries-resent", j.lines[0].What)
	require.Equal(t, "1 to noc", j.lines[0].Detail)
	require.NotEmpty(t, j.lines[0].Who)
	require.Equal(t, "192.0.2.1", j.lines[0].From, "the address that httptest makes requests from")
}

func TestLog(t *testing.T) {
	at := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	c := alarms.Change{Alarm: alarms.Alarm{Key: alarms.Key{Resource: "unit/a", Type: "supply-failed"}, Severity: alarms.Major, Text: "supply b failed"}, Notify: true}
	brief, err := json.Marshal(c.Brief())
	require.NoError(t, err)
	j := &journal{rows: []state.ChangeRow{
		{Entry: 3, Kind: "reloaded", Operator: "daemon", Text: "nothing changed", Time: at},
		{Entry: 2, Seq: 8, AlarmID: "a", Site: "north-quay", Kind: "commented", Operator: "noc-1", From: "192.0.2.9", Text: "part ordered", Time: at, Body: brief},
		{Entry: 1, Seq: 7, AlarmID: "a", Site: "north-quay", Kind: "raised", Time: at, Body: []byte(`{"severity": 7`)},
	}}
	s := newStage(t, makeFleet(1, 2), at, withJournal(&hooks{}, j))
	var page struct {
		Items []web.LogLine
		Next  string
	}
	read := func(path string) {
		t.Helper()
		page.Items, page.Next = nil, ""
		w := s.get(path)
		require.Equal(t, http.StatusOK, w.Code, "%s", w.Body)
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), &page))
	}
	read("/api/v1/log?limit=2&alarm=a&site=north-quay&since=2026-03-01T00:00:00Z")
	require.Equal(t, state.Filter{Alarm: "a", Site: "north-quay", Since: time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC), Limit: 3}, j.asked)
	require.Len(t, page.Items, 2)
	require.Nil(t, page.Items[0].Alarm)
	require.Equal(t, "supply b failed", page.Items[1].Alarm.Text)
	require.Equal(t, "192.0.2.9", page.Items[1].From)
	require.Equal(t, "2", page.Next)
	read("/api/v1/log?limit=2&after=2")
	require.Len(t, page.Items, 1)
	require.Nil(t, page.Items[0].Alarm, "a line whose body cannot be read is shown without it")
	require.Empty(t, page.Next)
	require.Equal(t, http.StatusUnprocessableEntity, s.get("/api/v1/log?after=x").Code)
	require.Equal(t, http.StatusUnprocessableEntity, s.get("/api/v1/log?after=99999999999999999999").Code)
	j.fault = errors.New("connection refused by 192.0.2.77")
	w := s.get("/api/v1/log")
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
}

// People are told on every page that what happens is not stored, and what
// they do is refused in a form that a program understands.
func TestUnwritten(t *testing.T) {
	at := time.Now()
	fault := errors.New("the state is not written since noon: disk full")
	s := newStage(t, makeFleet(1, 2), at, func(c *web.Config) { c.Unwritten = func() error { return fault } })
	s.trouble(at)
	require.Contains(t, s.get("/").Body.String(), "The state is not written since noon: disk full. Alarms go on")
	alarms.NewEngine(alarms.EngineConfig{List: s.list, Commit: func(alarms.Round) error { return fault }})
	id := s.id("unit/a2-room", "supply-redundancy-lost")
	w := s.do(call{method: "POST", path: "/api/v1/alarms/" + id + "/acknowledge", secret: operateSecret})
	require.Equal(t, http.StatusServiceUnavailable, w.Code)
	require.Equal(t, "application/problem+json", w.Header().Get("Content-Type"))
	require.Contains(t, w.Body.String(), "nothing was changed")
	a, _ := s.list.Alarm(id)
	require.Equal(t, alarms.OperatorNone, a.Operator)
	fault = nil
	require.NotContains(t, s.get("/").Body.String(), "Alarms go on")
}
