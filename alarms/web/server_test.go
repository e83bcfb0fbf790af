package web_test

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/web"
	"lightwell/alarms/web/access"
	"lightwell/collector"
)

func TestWhoMayComeIn(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	for name, c := range map[string]struct {
		call
		status    int
		challenge string
	}{
		"nobody at the page":     {call{method: "GET", path: "/"}, 401, `Bearer realm="Lightwell"`},
		"nobody at the API":      {call{method: "GET", path: "/api/v1/fleet"}, 401, `Bearer realm="Lightwell"`},
		"nobody at an asset":     {call{method: "GET", path: "/assets/style.css"}, 200, ""},
		"nobody at the document": {call{method: "GET", path: "/api/openapi.json"}, 401, `Bearer realm="Lightwell"`},
		"nobody at metrics":      {call{method: "GET", path: "/metrics"}, 401, `Bearer realm="Lightwell"`},
		"nobody posts":           {call{method: "POST", path: "/alarms/x", body: "do=close"}, 401, `Bearer realm="Lightwell"`},
		"wrong secret":           {call{method: "GET", path: "/", secret: "wrong"}, 401, `Bearer realm="Lightwell"`},
		"metrics with a token":   {call{method: "GET", path: "/metrics", secret: seeSecret}, 200, ""},
		"see":                    {call{method: "GET", path: "/", secret: seeSecret}, 200, ""},
		"see may not act":        {call{method: "POST", path: "/alarms/x", secret: seeSecret}, 403, ""},
		"see may not poll":       {call{method: "POST", path: "/units/a1-room/poll", secret: seeSecret}, 403, ""},
		"operate may poll":       {call{method: "POST", path: "/units/a1-room/poll", secret: operateSecret}, 303, ""},
		"operate may not begin":  {call{method: "POST", path: "/units/a1-room/commission", secret: operateSecret}, 403, ""},
		"nor by the API":         {call{method: "POST", path: "/api/v1/commissioning/begin", body: `{"resources":["unit/a1-room"]}`, secret: operateSecret}, 403, ""},
		"commission may":         {call{method: "POST", path: "/api/v1/commissioning/begin", body: `{"resources":["unit/a1-room"]}`, secret: commissionSecret}, 200, ""},
		"health needs nobody":    {call{method: "GET", path: "/healthz"}, 200, ""},
		"readiness needs nobody": {call{method: "GET", path: "/readyz"}, 200, ""},
		"unknown page":           {call{method: "GET", path: "/nowhere", secret: seeSecret}, 404, ""},
		"wrong method at a page": {call{method: "PUT", path: "/alarms", secret: seeSecret}, 405, ""},
	} {
		t.Run(name, func(t *testing.T) {
			w := s.do(c.call)
			require.Equal(t, c.status, w.Code, w.Body.String())
			require.Equal(t, c.challenge, w.Header().Get("WWW-Authenticate"))
			require.Contains(t, w.Header().Get("Content-Security-Policy"), "default-src 'none'")
			require.NotContains(t, w.Header().Get("Content-Security-Policy"), "unsafe")
			require.Equal(t, "nosniff", w.Header().Get("X-Content-Type-Options"))
		})
	}
}

func TestNameAndSecretWithoutASession(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	r := httptest.NewRequest("GET", "/", nil)
	r.SetBasicAuth("noc-1", operateSecret)
	w := httptest.NewRecorder()
	s.server.ServeHTTP(w, r)
	require.Equal(t, http.StatusOK, w.Code)
	require.Contains(t, w.Body.String(), "noc-1, may operate")
	require.Empty(t, w.Result().Cookies())
}

func TestGuessingIsSlowedDown(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now())
	for range access.MaxFailures {
		require.Equal(t, http.StatusUnauthorized, s.do(call{method: "GET", path: "/api/v1/fleet", secret: "guess"}).Code)
	}
	w := s.do(call{method: "GET", path: "/api/v1/fleet", secret: "guess"})
	require.Equal(t, http.StatusTooManyRequests, w.Code)
	require.Equal(t, "60", w.Header().Get("Retry-After"))
}

func TestRequestsFromOtherSitesAreRefused(t *testing.T) {
	open := newStage(t, makeFleet(1, 1), time.Now(), withoutTokens)
	signed := newStage(t, makeFleet(1, 1), time.Now())
	for name, c := range map[string]struct {
		header map[string]string
		status int
	}{
		"a program":               {map[string]string{}, 202},
		"our own page":            {map[string]string{"Sec-Fetch-Site": "same-origin"}, 202},
		"another site":            {map[string]string{"Sec-Fetch-Site": "cross-site"}, 403},
		"a neighbour":             {map[string]string{"Sec-Fetch-Site": "same-site"}, 403},
		"an old browser, foreign": {map[string]string{"Origin": "https://evil.example"}, 403},
		"an old browser, ours":    {map[string]string{"Origin": "http://127.0.0.1:8420"}, 202},
		"no origin at all":        {map[string]string{"Origin": "null"}, 403},
	} {
		for _, s := range []*stage{open, signed} {
			c.header["Host"] = "127.0.0.1:8420"
			w := s.do(call{method: "POST", path: "/api/v1/units/a1-room/poll", secret: operateSecret, header: c.header})
			require.Equal(t, c.status, w.Code, name)
			if c.status == http.StatusAccepted {
				<-s.poller.asked
			}
		}
	}
}

func TestForeignNamesAreRefusedWithoutTokens(t *testing.T) {
	open := newStage(t, makeFleet(1, 1), time.Now(), withoutTokens, func(c *web.Config) { c.Hosts = []string{"watch.example"} })
	for host, status := range map[string]int{
		"localhost:8420": 200, "127.0.0.1:8420": 200, "[::1]:8420": 200, "watch.example": 200, "evil.example": 421, "evil.example:8420": 421,
	} {
		for _, path := range []string{"/", "/api/v1/fleet", "/metrics"} {
			w := open.do(call{method: "GET", path: path, header: map[string]string{"Host": host}})
			require.Equal(t, status, w.Code, "%s %s", host, path)
		}
	}
	signed := newStage(t, makeFleet(1, 1), time.Now())
	require.Equal(t, 200, signed.do(call{method: "GET", path: "/", secret: seeSecret, header: map[string]string{"Host": "noc.example"}}).Code)
}

func TestValidate(t *testing.T) {
	for listen, c := range map[string]struct {
		tokens []access.Token
		want   string
	}{
		"127.0.0.1:8420": {nil, ""},
		"localhost:0":    {nil, ""},
		"[::1]:8420":     {nil, ""},
		"0.0.0.0:8420":   {nil, "configure a token, or listen on 127.0.0.1"},
		":8420":          {nil, "configure a token"},
		"[::]:8420":      {nil, "configure a token"},
		"192.0.2.1:8420": {nil, "configure a token"},
		"noc.example:80": {nil, "configure a token"},
		"0.0.0.0:8421":   {tokens, ""},
		"8420":           {tokens, "use host:port"},
		"127.0.0.1:1":    {[]access.Token{{Name: "a", Role: access.See, Secret: collector.NewSecret("short")}}, "secret has 5 bytes"},
	} {
		err := web.Config{Tokens: c.tokens}.Validate(listen)
		if c.want == "" {
			require.NoError(t, err, listen)
		} else {
			require.ErrorContains(t, err, c.want, listen)
		}
	}
}

func TestHealth(t *testing.T) {
	var fault error
	s := newStage(t, makeFleet(1, 1), time.Now(), func(c *web.Config) { c.Ready = func() error { return fault }; c.MetricsOpen = true })
	require.Equal(t, 200, s.do(call{method: "GET", path: "/readyz"}).Code)
	fault = errors.New("no fleet yet")
	w := s.do(call{method: "GET", path: "/readyz"})
	require.Equal(t, 503, w.Code)
	require.Equal(t, "not ready: no fleet yet\n", w.Body.String())
	require.Equal(t, 200, s.do(call{method: "GET", path: "/healthz"}).Code)
	require.Contains(t, s.do(call{method: "GET", path: "/metrics"}).Body.String(), "lightwell_unit_up 1")
}

func TestPortInUseIsAStartError(t *testing.T) {
	taken, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer taken.Close()
	s := newStage(t, makeFleet(1, 1), time.Now(), withoutTokens)
	require.ErrorContains(t, s.server.Listen(taken.Addr().String()), "listen for page and API")
	require.ErrorContains(t, s.server.Listen("0.0.0.0:0"), "configure a token")
	require.ErrorContains(t, s.server.Run(context.Background()), "Listen was not called")
}

// follow reads the stream of changes.
func follow(t *testing.T, ctx context.Context, url, secret string) <-chan web.Change {
	return followPage(t, ctx, url, secret, "")
}

// followPage reads the stream of changes that a page shows.
func followPage(t *testing.T, ctx context.Context, base, secret, page string) <-chan web.Change {
	r, err := http.NewRequestWithContext(ctx, "GET", base+"/api/v1/changes?page="+url.QueryEscape(page), nil)
	require.NoError(t, err)
	r.Header.Set("Authorization", "Bearer "+secret)
	answer, err := http.DefaultClient.Do(r)
	require.NoError(t, err)
	require.Equal(t, http.StatusOK, answer.StatusCode)
	require.Equal(t, "text/event-stream", answer.Header.Get("Content-Type"))
	out := make(chan web.Change, 10)
	go func() {
		defer close(out)
		defer answer.Body.Close()
		for lines := bufio.NewScanner(answer.Body); lines.Scan(); {
			if data, ok := strings.CutPrefix(lines.Text(), "data: "); ok {
				var c web.Change
				if json.Unmarshal([]byte(data), &c) == nil {
					out <- c
				}
			}
		}
	}()
	return out
}

func next(t *testing.T, changes <-chan web.Change) web.Change {
	t.Helper()
	select {
	case c, ok := <-changes:
		require.True(t, ok, "the stream has ended")
		return c
	case <-time.After(5 * time.Second):
		require.Fail(t, "no change within 5 s")
		return web.Change{}
	}
}

func TestStream(t *testing.T) {
	s := newStage(t, makeFleet(1, 4), time.Now())
	s.trouble(time.Now())
	require.NoError(t, s.server.Listen("127.0.0.1:0"))
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.server.Run(ctx) }()
	defer http.DefaultClient.CloseIdleConnections()

	one := follow(t, t.Context(), s.server.URL(), seeSecret)
	two := follow(t, t.Context(), s.server.URL(), operateSecret)
	first := next(t, one)
	require.Equal(t, first.Version, next(t, two).Version, "a new listener is told the state at once")

	s.engine.change()
	second := next(t, one)
	require.NotEqual(t, first.Version, second.Version)
	require.Equal(t, second.Version, next(t, two).Version)

	w := s.do(call{method: "POST", path: "/api/v1/alarms/" + s.id("unit/a2-room", "supply-redundancy-lost") + "/acknowledge", secret: operateSecret})
	require.Equal(t, 200, w.Code)
	third := next(t, one)
	require.NotEqual(t, second.Version, third.Version, "what a person does is a change too")
	require.Equal(t, third.Version, next(t, two).Version)

	begin := time.Now()
	stop()
	require.NoError(t, <-ended)
	require.Less(t, time.Since(begin), 3*time.Second, "open streams do not hold up the end")
	for range one {
	}
	for range two {
	}
	s.engine.mu.Lock()
	defer s.engine.mu.Unlock()
	require.Empty(t, s.engine.signals, "the subscription is given back")
}

func TestPanicIsAnAnswer(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), time.Now(), func(c *web.Config) { c.Fleet = func() *collector.Fleet { panic("no fleet") } })
	w := s.get("/api/v1/fleet")
	require.Equal(t, http.StatusInternalServerError, w.Code)
	require.NotContains(t, w.Body.String(), "no fleet")
	require.Equal(t, http.StatusInternalServerError, s.get("/").Code)
}
