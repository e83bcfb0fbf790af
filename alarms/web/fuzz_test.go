package web_test

import (
	"encoding/json"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"
)

// FuzzBodies sends any bytes as the body of every operation that takes one:
// no panic, no answer that claims our own fault, and always JSON.
func FuzzBodies(f *testing.F) {
	for _, seed := range []string{
		`{"text":"on my way"}`, `{}`, `null`, `[]`, `{"until":"2026-11-26T10:00:00Z","text":"x"}`, `{"resources":["unit/a1-room","site/x"],"force":true}`,
		`{"text":`, "{\"text\":\"\x00\xff\"}", `{"text":{"a":[1e999]}}`, `{"until":-1}`, strings.Repeat("[", 2000),
	} {
		f.Add(seed)
	}
	s := newStage(f, makeFleet(1, 2), time.Now())
	s.trouble(time.Now())
	id := s.id("unit/a2-room", "supply-redundancy-lost")
	f.Fuzz(func(t *testing.T, body string) {
		for _, path := range []string{"/alarms/" + id + "/acknowledge", "/alarms/" + id + "/comment", "/alarms/" + id + "/shelve",
			"/alarms/" + id + "/unshelve", "/commissioning/begin", "/commissioning/accept"} {
			w := s.do(call{method: "POST", path: "/api/v1" + path, body: body, secret: commissionSecret})
			if w.Code >= 500 || !json.Valid(w.Body.Bytes()) {
				t.Fatalf("%s %q: %d %s", path, body, w.Code, w.Body)
			}
		}
	})
}

// FuzzQueries asks for lists with any query, as API and as page.
func FuzzQueries(f *testing.F) {
	for _, seed := range []string{"", "state=all", "state=odd", "severity=major&site=north-quay", "limit=1&after=x", "limit=-1", "after=%00", "a=%zz", "state=all&state=held", ";", "resource=unit/"} {
		f.Add(seed)
	}
	s := newStage(f, makeFleet(1, 2), time.Now(), withoutTokens)
	s.trouble(time.Now())
	f.Fuzz(func(t *testing.T, query string) {
		for _, path := range []string{"/api/v1/alarms", "/api/v1/units", "/alarms"} {
			r := httptest.NewRequest("GET", path, nil)
			r.Host = "localhost"
			r.URL = &url.URL{Path: path, RawQuery: query}
			w := httptest.NewRecorder()
			s.server.ServeHTTP(w, r)
			if w.Code >= 500 {
				t.Fatalf("%s?%s: %d %s", path, query, w.Code, w.Body)
			}
		}
	})
}
