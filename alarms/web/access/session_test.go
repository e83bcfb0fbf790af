package access_test

import (
	"crypto/tls"
	"fmt"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/web/access"
	"lightwell/collector"
)

func with(c *http.Cookie) func(*http.Request) {
	return func(r *http.Request) { r.AddCookie(c) }
}

func nobody(*http.Request) {}

func begin(t *testing.T, g *access.Guard, at time.Time) *http.Cookie {
	t.Helper()
	c, p, err := g.Begin(request(nobody), "noc", noc, at)
	require.NoError(t, err)
	require.Equal(t, access.Person{Name: "noc", Role: access.Operate, From: "192.0.2.7", Session: true}, p)
	return c
}

func TestSession(t *testing.T) {
	g := guard(t)
	c := begin(t, g, now)
	p, err := g.SignIn(request(with(c)), now.Add(time.Hour))
	require.NoError(t, err)
	require.Equal(t, access.Person{Name: "noc", Role: access.Operate, From: "192.0.2.7", Session: true}, p)

	forget := g.End(request(with(c)))
	require.Equal(t, -1, forget.MaxAge)
	require.Empty(t, forget.Value)
	_, err = g.SignIn(request(with(c)), now.Add(time.Hour))
	require.ErrorIs(t, err, access.ErrEnded)

	_, err = g.SignIn(request(with(&http.Cookie{Name: c.Name, Value: "made-up"})), now)
	require.ErrorIs(t, err, access.ErrEnded)
}

func TestSessionsDoNotLast(t *testing.T) {
	g := guard(t)
	idle, busy := begin(t, g, now), begin(t, g, now)
	at := now
	for at.Sub(now) < access.SessionLife-access.SessionIdle/2 {
		_, err := g.SignIn(request(with(busy)), at)
		require.NoError(t, err)
		at = at.Add(access.SessionIdle / 2)
	}
	_, err := g.SignIn(request(with(idle)), now.Add(access.SessionIdle))
	require.ErrorIs(t, err, access.ErrEnded)
	_, err = g.SignIn(request(with(busy)), now.Add(access.SessionLife-1))
	require.NoError(t, err)
	_, err = g.SignIn(request(with(busy)), now.Add(access.SessionLife))
	require.ErrorIs(t, err, access.ErrEnded)
}

func TestASignInEndsTheSessionBefore(t *testing.T) {
	g := guard(t)
	first := begin(t, g, now)
	second, _, err := g.Begin(request(with(first)), "chief", chef, now)
	require.NoError(t, err)
	require.NotEqual(t, first.Value, second.Value, "an id from before signing in is worth nothing after")
	_, err = g.SignIn(request(with(first)), now)
	require.ErrorIs(t, err, access.ErrEnded)
}

func TestWrongSecretBeginsNothing(t *testing.T) {
	g := guard(t)
	for name, secret := range map[string]string{"noc": chef, "chief": noc, "": noc, "nobody": noc, "noc ": noc} {
		c, _, err := g.Begin(request(nobody), name, secret, now)
		require.ErrorIs(t, err, access.ErrUnknown)
		require.Nil(t, c)
	}
	require.Empty(t, g.Sessions(now))
	for range access.MaxFailures - 5 {
		_, _, _ = g.Begin(request(nobody), "noc", "wrong", now)
	}
	_, _, err := g.Begin(request(nobody), "noc", noc, now)
	require.ErrorIs(t, err, access.ErrTooMany)
}

func TestSessionsEndWithTheirToken(t *testing.T) {
	token := func(name, secret string, role access.Role) access.Token {
		return access.Token{Name: name, Secret: collector.NewSecret(secret), Role: role}
	}
	for name, c := range map[string]struct {
		after []access.Token
		role  access.Role
		err   error
	}{
		"as before":        {[]access.Token{token("noc", noc, access.Operate)}, access.Operate, nil},
		"another role":     {[]access.Token{token("noc", noc, access.See)}, access.See, nil},
		"now as a hash":    {[]access.Token{{Name: "noc", Hash: access.HashOf(noc), Role: access.Operate}}, access.Operate, nil},
		"another secret":   {[]access.Token{token("noc", chef, access.Operate)}, 0, access.ErrEnded},
		"gone":             {[]access.Token{token("chief", chef, access.Administer)}, 0, access.ErrEnded},
		"another's secret": {[]access.Token{token("chief", noc, access.Administer)}, 0, access.ErrEnded},
	} {
		t.Run(name, func(t *testing.T) {
			g := guard(t)
			cookie := begin(t, g, now)
			require.NoError(t, g.SetTokens(c.after))
			p, err := g.SignIn(request(with(cookie)), now)
			require.ErrorIs(t, err, c.err)
			require.Equal(t, c.role, p.Role)
		})
	}
	g := guard(t)
	require.Error(t, g.SetTokens([]access.Token{{Name: "a"}}))
	_, err := g.SignIn(request(bearer(noc)), now)
	require.NoError(t, err, "tokens at fault change nothing")
}

func TestCookie(t *testing.T) {
	for name, c := range map[string]struct {
		set    func(*http.Request)
		secure bool
	}{
		"plain":                    {nobody, false},
		"TLS":                      {func(r *http.Request) { r.TLS = &tls.ConnectionState{} }, true},
		"proxy that ends TLS":      {func(r *http.Request) { r.Header.Set("Origin", "https://noc.example") }, true},
		"proxy that does not":      {func(r *http.Request) { r.Header.Set("Origin", "http://noc.example") }, false},
		"what anybody could claim": {func(r *http.Request) { r.Header.Set("X-Forwarded-Proto", "https") }, false},
	} {
		t.Run(name, func(t *testing.T) {
			g := guard(t)
			cookie, _, err := g.Begin(request(c.set), "noc", noc, now)
			require.NoError(t, err)
			require.Equal(t, c.secure, cookie.Secure)
			require.Equal(t, c.secure, cookie.Name == "__Host-lightwell")
			require.True(t, cookie.HttpOnly)
			require.Equal(t, http.SameSiteLaxMode, cookie.SameSite)
			require.Equal(t, "/", cookie.Path)
			require.Empty(t, cookie.Domain)
			require.Equal(t, int(access.SessionLife.Seconds()), cookie.MaxAge)
			require.NoError(t, cookie.Valid())
			require.GreaterOrEqual(t, len(cookie.Value), 52, "256 bits in base32")
		})
	}
}

// TestPlainCookieIsNothingOverTLS: a page of the same host without TLS could
// have set it.
func TestPlainCookieIsNothingOverTLS(t *testing.T) {
	g := guard(t)
	c := begin(t, g, now)
	r := request(with(c))
	r.TLS = &tls.ConnectionState{}
	_, err := g.SignIn(r, now)
	require.ErrorIs(t, err, access.ErrNoCredentials)
}

func TestSessionsSurviveARestart(t *testing.T) {
	before, after := guard(t), guard(t)
	c := begin(t, before, now)
	ended := begin(t, before, now)
	before.End(request(with(ended)))
	kept := before.Sessions(now.Add(time.Hour))
	require.Len(t, kept, 1)
	for id := range kept {
		require.NotContains(t, id.String(), c.Value)
		require.Equal(t, access.HashOf(c.Value), id, "the id itself is not kept")
	}
	after.Restore(kept, now.Add(access.SessionIdle))
	p, err := after.SignIn(request(with(c)), now.Add(access.SessionIdle))
	require.NoError(t, err)
	require.Equal(t, "noc", p.Name)
	_, err = after.SignIn(request(with(ended)), now)
	require.ErrorIs(t, err, access.ErrEnded)
	require.Empty(t, before.Sessions(now.Add(access.SessionLife)), "what is over is not kept")
}

func TestSessionsAreBounded(t *testing.T) {
	g := guard(t)
	first := begin(t, g, now)
	var last *http.Cookie
	for i := range 1000 {
		last = begin(t, g, now.Add(time.Duration(i+1)*time.Second))
	}
	require.Len(t, g.Sessions(now), 1000)
	_, err := g.SignIn(request(with(first)), now)
	require.ErrorIs(t, err, access.ErrEnded, "that which idled longest made room")
	_, err = g.SignIn(request(with(last)), now)
	require.NoError(t, err)
}

func FuzzCookie(f *testing.F) {
	f.Add("lightwell=x; __Host-lightwell=y")
	g, err := access.NewGuard([]access.Token{{Name: "noc", Secret: collector.NewSecret(noc), Role: access.See}}, nil)
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, header string) {
		r := request(func(r *http.Request) { r.Header.Set("Cookie", header) })
		if p, err := g.SignIn(r, now); err == nil {
			t.Fatal(fmt.Sprint("signed in as ", p.Name))
		}
	})
}
