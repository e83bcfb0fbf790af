package web_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

func TestWhoHasTheAnswerIsSparedIt(t *testing.T) {
	s := newStage(t, makeFleet(1, 4), time.Now())
	s.trouble(time.Now())
	ask := func(path, match string) (int, string) {
		w := s.do(call{method: "GET", path: path, secret: seeSecret, header: map[string]string{"If-None-Match": match}})
		require.Equal(t, w.Code == http.StatusNotModified, w.Body.Len() == 0)
		return w.Code, w.Header().Get("ETag")
	}
	for _, path := range []string{"/api/v1/alarms", "/api/v1/alarm-types", "/api/v1/alarms/" + s.id("unit/a2-room", "supply-redundancy-lost"), "/api/openapi.json"} {
		status, tag := ask(path, "")
		require.Equal(t, http.StatusOK, status)
		require.Regexp(t, `^"(\d+-)?[0-9a-f]{16}"$`, tag, path)
		for match, want := range map[string]int{
			tag: 304, "W/" + tag: 304, `"x", ` + tag: 304, "*": 304, // RFC 9110 13.1.2: compared weakly, a list, anything
			`"x"`: 200, strings.Trim(tag, `"`): 200, strings.ToUpper(tag) + "x": 200,
		} {
			status, again := ask(path, match)
			require.Equal(t, want, status, "%s %s", path, match)
			require.Equal(t, tag, again)
		}
	}
	status, tag := ask("/api/v1/alarms/none", "*")
	require.Equal(t, http.StatusNotFound, status)
	require.Empty(t, tag, "an error has no tag")
}

// TestDetailsAreInTheTagAndNotInTheCondition: an answer with a new value is
// sent, and an operator who has not seen it may act all the same.
func TestDetailsAreInTheTagAndNotInTheCondition(t *testing.T) {
	s := newStage(t, makeFleet(1, 4), time.Now())
	s.trouble(time.Now())
	key := alarms.Key{Resource: "unit/a3-roof", Type: "antenna-feed-fault"}
	path := "/api/v1/alarms/" + alarms.NewID(key)
	seen := s.get(path).Header().Get("ETag")
	a, _ := s.list.Alarm(alarms.NewID(key))
	milliamps := 61.5
	s.list.Apply(time.Now(), alarms.Update{
		Key: key, Site: a.Site, Active: true, Severity: a.Severity, Text: a.Text, Time: time.Now(), Cause: a.Cause, EventType: a.EventType,
		Details: alarms.Details{Observed: &milliamps, Unit: "mA"},
	})
	w := s.do(call{method: "GET", path: path, secret: seeSecret, header: map[string]string{"If-None-Match": seen}})
	require.Equal(t, http.StatusOK, w.Code, "the value is new")
	version, _, _ := strings.Cut(seen, "-")
	require.True(t, strings.HasPrefix(w.Header().Get("ETag"), version+"-"), "the version is not")
	act := func(match string) (int, string) {
		w := s.do(call{method: "POST", path: path + "/acknowledge", secret: operateSecret, header: map[string]string{"If-Match": match}})
		return w.Code, w.Header().Get("ETag")
	}
	status, after := act(seen)
	require.Equal(t, http.StatusOK, status)
	require.Equal(t, after, s.get(path).Header().Get("ETag"), "the answer of an action is tagged like any other")
	status, _ = act(seen)
	require.Equal(t, http.StatusPreconditionFailed, status)
}

func TestNextPageIsLinked(t *testing.T) {
	s := newStage(t, makeFleet(2, 4), time.Now())
	path, seen := "/api/v1/units?limit=5", 0
	for path != "" {
		w := s.get(path)
		require.Equal(t, http.StatusOK, w.Code, path)
		seen += len(decode(t, w)["items"].([]any))
		link := w.Header().Get("Link")
		path = strings.TrimSuffix(strings.TrimPrefix(link, "<"), `>; rel="next"`)
		require.True(t, path == "" || strings.HasPrefix(path, "/api/v1/units?"), link)
	}
	require.Equal(t, 16, seen)
	require.Contains(t, s.get("/api/v1/alarm-types?limit=1").Header().Get("Link"), "after=optical-signal-degraded")
}

func TestMe(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	require.JSONEq(t, `{"name":"noc-1","role":"operate","from":"192.0.2.1"}`, s.do(call{method: "GET", path: "/api/v1/me", secret: operateSecret}).Body.String())
}
