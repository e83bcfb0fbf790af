package web_test

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/web"
	"lightwell/alarms/web/access"
	"lightwell/collector"
)

// visitor is a browser without a screen: it keeps cookies and follows nothing.
type visitor struct {
	s      *stage
	cookie *http.Cookie
}

func (v *visitor) do(method, path string, form url.Values) *httptest.ResponseRecorder {
	r := httptest.NewRequest(method, path, strings.NewReader(form.Encode()))
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if form != nil {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	if v.cookie != nil {
		r.AddCookie(v.cookie)
	}
	w := httptest.NewRecorder()
	v.s.server.ServeHTTP(w, r)
	for _, c := range w.Result().Cookies() {
		v.cookie = c
		if c.MaxAge < 0 {
			v.cookie = nil
		}
	}
	return w
}

func (v *visitor) signIn(name, secret, to string) *httptest.ResponseRecorder {
	return v.do("POST", "/sign-in", url.Values{"name": {name}, "secret": {secret}, "to": {to}})
}

func TestSignInPage(t *testing.T) {
	j := &journal{}
	s := newStage(t, makeFleet(1, 4), time.Now(), func(c *web.Config) { c.Journal = j })
	s.trouble(time.Now())
	v := &visitor{s: s}

	w := v.do("GET", "/alarms?state=all&site=north-quay", nil)
	require.Equal(t, http.StatusUnauthorized, w.Code)
	require.Contains(t, w.Body.String(), `<input type="hidden" name="to" value="/alarms?state=all&amp;site=north-quay">`)
	require.NotContains(t, w.Body.String(), "north-quay-riser", "nothing of the fleet is told")
	require.NotContains(t, w.Body.String(), "live.js")
	require.NotContains(t, w.Body.String(), `role="alert"`, "nobody did anything wrong")

	w = v.signIn("noc-1", "wrong", "/alarms?state=all")
	require.Equal(t, http.StatusUnauthorized, w.Code)
	require.Contains(t, w.Body.String(), `role="alert">Name or secret is not known.`)
	require.Contains(t, w.Body.String(), `value="noc-1"`)
	require.NotContains(t, w.Body.String(), "wrong")
	require.Nil(t, v.cookie)

	w = v.signIn("noc-1", operateSecret, "/alarms?state=all")
	require.Equal(t, http.StatusSeeOther, w.Code)
	require.Equal(t, "/alarms?state=all", w.Header().Get("Location"))
	require.True(t, v.cookie.HttpOnly)
	require.NotContains(t, v.cookie.Value, operateSecret)

	w = v.do("GET", "/alarms?state=all", nil)
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Body.String(), "noc-1, may operate")
	require.Contains(t, w.Body.String(), "Sign out")
	require.Equal(t, http.StatusOK, v.do("GET", "/api/v1/fleet", nil).Code, "the API knows sessions too")
	require.Equal(t, http.StatusForbidden, v.do("POST", "/units/a1-room/commission", url.Values{"do": {"begin"}}).Code)
	id := s.id("unit/a2-room", "supply-redundancy-lost")
	require.Equal(t, http.StatusSeeOther, v.do("POST", "/alarms/"+id, url.Values{"do": {"acknowledge"}}).Code)
	a, _ := s.list.Alarm(id)
	require.Equal(t, "noc-1", a.Actions[0].Operator)
	w = v.do("GET", "/sign-in?to=/alarms", nil)
	require.Equal(t, "/alarms", w.Header().Get("Location"), "who is signed in need not do it again")

	old := v.cookie
	w = v.do("POST", "/sign-out", url.Values{})
	require.Equal(t, "/sign-in", w.Header().Get("Location"))
	require.Nil(t, v.cookie)
	v.cookie = old
	w = v.do("POST", "/alarms/"+id, url.Values{"do": {"close"}})
	require.Equal(t, http.StatusUnauthorized, w.Code, "a copy of the cookie is worth nothing")
	require.Contains(t, w.Body.String(), "so nothing was done")
	require.Equal(t, http.StatusUnauthorized, v.do("GET", "/api/v1/fleet", nil).Code)

	var kinds []string
	for _, r := range j.lines {
		kinds = append(kinds, r.Who+" "+r.What)
		require.NotContains(t, r.Detail, operateSecret)
	}
	require.Equal(t, []string{"noc-1 signed-in", "noc-1 signed-out"}, kinds)
}

func TestSignInLeadsNowhereElse(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	for _, to := range []string{"https://evil.example/", "//evil.example", `/\evil.example`, "javascript:alert(1)", "", "/a\r\nSet-Cookie: x=y"} {
		v := &visitor{s: s}
		w := v.signIn("noc-1", operateSecret, to)
		require.Equal(t, "/", w.Header().Get("Location"), to)
		w = (&visitor{s: s}).do("GET", "/sign-in?to="+url.QueryEscape(to), nil)
		require.Contains(t, w.Body.String(), `name="to" value="/"`, to)
	}
}

func TestForeignPagesSignNobodyInOrOut(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	v := &visitor{s: s}
	v.signIn("noc-1", operateSecret, "/")
	for _, path := range []string{"/sign-in", "/sign-out", "/units/a1-room/poll", "/api/v1/units/a1-room/poll"} {
		r := httptest.NewRequest("POST", path, strings.NewReader("name=noc-1&secret="+operateSecret))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		r.Header.Set("Sec-Fetch-Site", "cross-site")
		r.AddCookie(v.cookie)
		w := httptest.NewRecorder()
		s.server.ServeHTTP(w, r)
		require.Equal(t, http.StatusForbidden, w.Code, path)
		require.Empty(t, w.Result().Cookies(), path)
	}
	require.Equal(t, http.StatusOK, v.do("GET", "/", nil).Code, "and nobody is signed out")
}

func TestGuessingAtThePage(t *testing.T) {
	j := &journal{}
	s := newStage(t, makeFleet(1, 1), time.Now(), func(c *web.Config) { c.Journal = j })
	v := &visitor{s: s}
	for range access.MaxFailures {
		require.Equal(t, http.StatusUnauthorized, v.signIn("noc-1", "guess", "/").Code)
	}
	w := v.signIn("noc-1", operateSecret, "/")
	require.Equal(t, http.StatusTooManyRequests, w.Code)
	require.Equal(t, "60", w.Header().Get("Retry-After"))
	require.Contains(t, w.Body.String(), "Wait a minute")
	require.Len(t, j.lines, 1, "one line for all of them")
	require.Equal(t, "sign-in-blocked", j.lines[0].What)
	require.Equal(t, "192.0.2.1", j.lines[0].From)
}

func TestWithoutTokensNobodySignsIn(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now(), withoutTokens)
	for _, c := range []call{{method: "GET", path: "/sign-in"}, {method: "POST", path: "/sign-in"}} {
		c.header = map[string]string{"Host": "localhost"}
		w := s.do(c)
		require.Equal(t, http.StatusSeeOther, w.Code)
		require.Equal(t, "/", w.Header().Get("Location"))
	}
}

// cellar is a SessionStore in memory.
type cellar struct {
	mu    sync.Mutex
	kept  map[access.Hash]access.Session
	fault error
}

func (c *cellar) SaveSessions(s map[access.Hash]access.Session) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.fault == nil {
		c.kept = s
	}
	return c.fault
}

func (c *cellar) Sessions() (map[access.Hash]access.Session, error) { return c.kept, c.fault }

func TestSessionsOutliveTheServer(t *testing.T) {
	store := &cellar{}
	keep := func(c *web.Config) { c.Sessions = store }
	v := &visitor{s: newStage(t, makeFleet(1, 1), time.Now(), keep)}
	v.signIn("noc-1", operateSecret, "/")
	v.s = newStage(t, makeFleet(1, 1), time.Now(), keep)
	require.Equal(t, http.StatusOK, v.do("GET", "/", nil).Code)
	v.do("POST", "/sign-out", url.Values{})
	require.Empty(t, store.kept)

	store.fault = errors.New("disk full")
	v.s = newStage(t, makeFleet(1, 1), time.Now(), keep)
	require.Equal(t, http.StatusSeeOther, v.signIn("noc-1", operateSecret, "/").Code, "people come in all the same")
	require.Equal(t, http.StatusOK, v.do("GET", "/", nil).Code)
}

func TestTokensAreExchangedInFlight(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	require.ErrorContains(t, s.server.SetTokens([]access.Token{{Name: "x", Role: access.See}}), "secret has 0 bytes")
	const fresh = "fresh-secret-0123456789"
	require.NoError(t, s.server.SetTokens([]access.Token{{Name: "new", Secret: collector.NewSecret(fresh), Role: access.See}}))
	require.Equal(t, http.StatusUnauthorized, s.do(call{method: "GET", path: "/", secret: seeSecret}).Code)
	require.Equal(t, http.StatusOK, s.do(call{method: "GET", path: "/", secret: fresh}).Code)
}

// TestStreamEndsWithItsToken: an open page is not told more than a new one.
func TestStreamEndsWithItsToken(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	url := s.serve("127.0.0.1:0")
	defer http.DefaultClient.CloseIdleConnections()
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	changes := follow(t, ctx, url, operateSecret)
	next(t, changes)
	require.NoError(t, s.server.SetTokens(tokens[:1]))
	s.engine.change()
	for range changes {
	}
	require.NoError(t, ctx.Err(), "the server ended it")
}
