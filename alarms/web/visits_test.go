package web_test

import (
	"context"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/visit"
	"lightwell/alarms/web"
	"lightwell/collector"
	"lightwell/collector/state"
)

var _ web.Visits = (*visit.Book)(nil)

// newVisited is a stage where visits are recorded.
func newVisited(t testing.TB, change ...func(*web.Config)) *stage {
	store, err := state.Open(context.Background(), state.Config{Folder: t.TempDir()}, nil)
	require.NoError(t, err)
	t.Cleanup(func() { store.Close() })
	fleet := makeFleet(2, 2)
	var s *stage
	book, err := visit.NewBook(visit.Config{
		Store: visit.Stored{State: store, Write: func(fn func(context.Context) error) error { return fn(context.Background()) }},
		Fleet: func() *collector.Fleet { return fleet },
		Units: func(site string) (out []alarms.UnitView) {
			for _, u := range s.engine.Units() {
				if u.Unit.Site == site {
					out = append(out, u)
				}
			}
			return out
		},
		Alarms: func(site string) []alarms.Alarm {
			return s.list.Alarms(alarms.Filter{Site: site, Clearance: alarms.ClearanceNotCleared})
		},
	}, time.Now())
	require.NoError(t, err)
	s = newStage(t, fleet, time.Now(), append(change, func(c *web.Config) { c.Visits, c.Calendar = book, book })...)
	return s
}

func (s *stage) post(path, body, secret string) (int, map[string]any) {
	w := s.do(call{method: "POST", path: "/api/v1" + path, body: body, secret: secret})
	return w.Code, decode(s.t, w)
}

const kims = `{"site":"north-quay","by":"Kim","reason":"weak downlink","resources":["link/a1"],"limit_minutes":90}`

func TestVisitsOverTheAPI(t *testing.T) {
	s := newVisited(t)
	status, body := s.post("/visits", kims, seeSecret)
	require.Equal(t, http.StatusForbidden, status, body)
	status, body = s.post("/visits", kims, operateSecret)
	require.Equal(t, http.StatusOK, status, body)
	require.Equal(t, "v1", body["id"])
	require.Equal(t, "open", body["state"])
	for _, c := range []struct {
		path, body string
		status     int
		says       string
	}{
		{"/visits", kims, http.StatusConflict, "v1 by Kim"},
		{"/visits", `{"site":"moon","by":"Kim","reason":"x"}`, http.StatusUnprocessableEntity, "moon"},
		{"/visits", `{"site":"site-2","by":" ","reason":"x"}`, http.StatusUnprocessableEntity, "who is there"},
		{"/visits", `{"site":"site-2","by":"x","reason":"x","limit_minutes":5}`, http.StatusUnprocessableEntity, "validation"},
		{"/visits/v1/end", `{"found":"x","done":""}`, http.StatusUnprocessableEntity, "what was done"},
		{"/visits/v7/end", `{"found":"x","done":"y"}`, http.StatusNotFound, "v7"},
	} {
		status, body := s.post(c.path, c.body, operateSecret)
		require.Equal(t, c.status, status, "%s %v", c.body, body)
		require.Contains(t, body["detail"], c.says)
	}
	status, body = s.post("/visits/v1/end", `{"found":"dirt","done":"cleaned","exchanged":["a1-roof"],"meter":[{"unit":"a1-room","dbm":1.2}]}`, operateSecret)
	require.Equal(t, http.StatusOK, status, body)
	require.Equal(t, "settling", body["state"])
	require.Equal(t, []any{"a1-roof"}, body["rebaseline"])
	status, _ = s.post("/visits/v1/end", `{"found":"dirt","done":"cleaned"}`, operateSecret)
	require.Equal(t, http.StatusConflict, status)
	status, _ = s.post("/visits/v1/capture", ``, operateSecret)
	require.Equal(t, http.StatusForbidden, status, "a baseline is not for everybody")
	status, body = s.post("/visits/v1/capture", ``, commissionSecret)
	require.Equal(t, http.StatusOK, status, body)
	require.Equal(t, "capturing", s.book.State("a1-roof"))

	list := decode(t, s.get("/api/v1/visits?limit=1"))
	require.Len(t, list["items"], 1)
	require.NotContains(t, list, "next")
	require.Len(t, decode(t, s.get("/api/v1/visits?site=site-2"))["items"], 0)
	require.Equal(t, http.StatusNotFound, s.get("/api/v1/visits/v9").Code)
	require.NotEmpty(t, decode(t, s.get("/api/v1/visits/v1"))["levels"])
}

func TestVisitsOnThePage(t *testing.T) {
	s := newVisited(t)
	form := func(path, secret string, values url.Values) (int, string) {
		w := s.do(call{method: "POST", path: path, body: values.Encode(), secret: secret, header: map[string]string{"Content-Type": "application/x-www-form-urlencoded"}})
		return w.Code, w.Header().Get("Location") + w.Body.String()
	}
	require.Contains(t, s.get("/sites/north-quay").Body.String(), "Begin a visit")
	require.Contains(t, s.get("/visits").Body.String(), "Nobody is at a site")
	status, text := form("/sites/north-quay/visit", seeSecret, url.Values{"by": {"Kim"}, "reason": {"weak"}})
	require.Equal(t, http.StatusForbidden, status, text)
	status, text = form("/sites/north-quay/visit", operateSecret, url.Values{"by": {"<Kim>"}, "reason": {"weak"}})
	require.Equal(t, http.StatusSeeOther, status, text)
	require.Equal(t, "/visits/v1", text)
	page := s.get("/sites/north-quay").Body.String()
	require.Contains(t, page, `id="open-visit"`)
	require.Contains(t, page, "&lt;Kim&gt;")
	require.NotContains(t, page, "Begin a visit")
	require.Contains(t, s.get("/visits/v1").Body.String(), "End the visit")

	status, text = form("/visits/v1", operateSecret, url.Values{"do": {"end"}, "found": {"dirt"}, "done": {""}})
	require.Equal(t, http.StatusUnprocessableEntity, status, text)
	status, text = form("/visits/v1", operateSecret, url.Values{"do": {"dance"}})
	require.Equal(t, http.StatusBadRequest, status, text)
	status, text = form("/visits/v1", operateSecret, url.Values{"do": {"capture"}})
	require.Equal(t, http.StatusForbidden, status, text)
	status, text = form("/visits/v1", operateSecret, url.Values{"do": {"end"}, "found": {"dirt"}, "done": {"cleaned"}})
	require.Equal(t, http.StatusSeeOther, status, text)
	page = s.get("/visits/v1").Body.String()
	for _, want := range []string{"Levels before and after", "optical receive power", "cleaned", "Provisional"} {
		require.Contains(t, page, want)
	}
	require.Equal(t, 1, strings.Count(s.get("/visits").Body.String(), `href="/visits/v1"`), "listed once, as under way")
	require.Equal(t, http.StatusNotFound, s.get("/visits/v8").Code)
}

// FuzzVisitBodies: whatever comes, the answer is JSON and no fault of ours.
func FuzzVisitBodies(f *testing.F) {
	f.Add(kims)
	f.Add(`{"site":"north-quay","by":"\u0000","reason":"x","at":"2026-01-01T00:00:00Z","limit_minutes":4320}`)
	f.Add(`{"found":"x","done":"y","meter":[{"unit":"a1-room","dbm":-1e400}]}`)
	f.Add(`[]`)
	s := newVisited(f)
	f.Fuzz(func(t *testing.T, body string) {
		for _, path := range []string{"/visits", "/visits/v1/end", "/visits/v1/capture"} {
			w := s.do(call{method: "POST", path: "/api/v1" + path, body: body, secret: commissionSecret})
			require.Less(t, w.Code, 500, "%s: %s", path, w.Body)
			require.True(t, strings.HasPrefix(w.Body.String(), "{"), w.Body)
		}
	})
}
