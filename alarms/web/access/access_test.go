package access_test

import (
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/web/access"
	"lightwell/collector"
)

var now = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

const (
	noc  = "noc-secret-of-32-bytes-for-tests"
	chef = "chief-secret-of-32-bytes-4-tests"
)

func guard(t testing.TB) *access.Guard {
	g, err := access.NewGuard([]access.Token{
		{Name: "noc", Secret: collector.NewSecret(noc), Role: access.Operate},
		{Name: "chief", Secret: collector.NewSecret(chef), Role: access.Administer},
	}, nil)
	require.NoError(t, err)
	return g
}

func request(set func(*http.Request)) *http.Request {
	r := httptest.NewRequest("GET", "/", nil)
	r.RemoteAddr = "192.0.2.7:4711"
	set(r)
	return r
}

func bearer(secret string) func(*http.Request) {
	return func(r *http.Request) { r.Header.Set("Authorization", "Bearer "+secret) }
}

func basic(name, secret string) func(*http.Request) {
	return func(r *http.Request) { r.SetBasicAuth(name, secret) }
}

func TestSignIn(t *testing.T) {
	for name, c := range map[string]struct {
		set  func(*http.Request)
		want access.Person
		err  error
	}{
		"bearer":               {bearer(noc), access.Person{Name: "noc", Role: access.Operate, From: "192.0.2.7"}, nil},
		"scheme in any case":   {func(r *http.Request) { r.Header.Set("Authorization", "bEARER "+chef) }, access.Person{Name: "chief", Role: access.Administer, From: "192.0.2.7"}, nil},
		"basic":                {basic("chief", chef), access.Person{Name: "chief", Role: access.Administer, From: "192.0.2.7"}, nil},
		"nothing":              {func(*http.Request) {}, access.Person{}, access.ErrNoCredentials},
		"other scheme":         {func(r *http.Request) { r.Header.Set("Authorization", "Digest x") }, access.Person{}, access.ErrNoCredentials},
		"secret of another":    {basic("noc", chef), access.Person{}, access.ErrUnknown},
		"unknown name":         {basic("nobody", noc), access.Person{}, access.ErrUnknown},
		"empty secret":         {basic("noc", ""), access.Person{}, access.ErrUnknown},
		"empty bearer":         {bearer(""), access.Person{}, access.ErrUnknown},
		"a beginning":          {bearer(noc[:len(noc)-1]), access.Person{}, access.ErrUnknown},
		"the placeholder":      {bearer(collector.NewSecret(noc).String()), access.Person{}, access.ErrUnknown},
		"secret in lower case": {bearer(strings.ToUpper(noc)), access.Person{}, access.ErrUnknown},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := guard(t).SignIn(request(c.set), now)
			require.ErrorIs(t, err, c.err)
			require.Equal(t, c.want, got)
		})
	}
}

func TestNoTokensMeansLocal(t *testing.T) {
	g, err := access.NewGuard(nil, nil)
	require.NoError(t, err)
	p, err := g.SignIn(request(func(*http.Request) {}), now)
	require.NoError(t, err)
	require.Equal(t, access.Person{Name: "local", Role: access.Administer, From: "192.0.2.7"}, p)
	require.True(t, p.Role.May(access.Administer))
}

func TestGuessingIsSlowedDown(t *testing.T) {
	g := guard(t)
	for i := range access.MaxFailures {
		_, err := g.SignIn(request(bearer("wrong")), now)
		require.ErrorIs(t, err, access.ErrUnknown)
		require.Equal(t, i == access.MaxFailures-1, errors.Is(err, access.ErrBlocked), "told once, for the log")
	}
	_, err := g.SignIn(request(bearer(noc)), now)
	require.ErrorIs(t, err, access.ErrTooMany, "even the right secret waits")

	elsewhere := request(bearer(noc))
	elsewhere.RemoteAddr = "192.0.2.8:4711"
	_, err = g.SignIn(elsewhere, now)
	require.NoError(t, err, "other addresses are not touched")

	_, err = g.SignIn(request(bearer(noc)), now.Add(access.FailureWindow-1))
	require.ErrorIs(t, err, access.ErrTooMany)
	_, err = g.SignIn(request(bearer(noc)), now.Add(access.FailureWindow))
	require.NoError(t, err)
}

func TestNeighboursInOneIPv6NetworkCountTogether(t *testing.T) {
	g := guard(t)
	for i := range access.MaxFailures {
		r := request(bearer("wrong"))
		r.RemoteAddr = fmt.Sprintf("[2001:db8::%x]:1", i+1)
		_, err := g.SignIn(r, now)
		require.ErrorIs(t, err, access.ErrUnknown)
	}
	r := request(bearer(noc))
	r.RemoteAddr = "[2001:db8::ffff]:1"
	_, err := g.SignIn(r, now)
	require.ErrorIs(t, err, access.ErrTooMany)
}

func TestMemoryOfFailuresIsBounded(t *testing.T) {
	g := guard(t)
	fail := func(addr string, at time.Time) {
		r := request(bearer("wrong"))
		r.RemoteAddr = addr
		_, _ = g.SignIn(r, at)
	}
	for range access.MaxFailures {
		fail("192.0.2.1:1", now)
	}
	for i := range 4096 {
		fail(fmt.Sprintf("10.0.%d.%d:1", i/256, i%256), now.Add(time.Second))
	}
	r := request(bearer(noc))
	r.RemoteAddr = "192.0.2.1:1"
	_, err := g.SignIn(r, now.Add(2*time.Second))
	require.NoError(t, err, "the oldest address was forgotten")
}

func TestHostAllowed(t *testing.T) {
	open, err := access.NewGuard(nil, []string{"Watch.example"})
	require.NoError(t, err)
	for host, want := range map[string]bool{
		"localhost": true, "localhost:8080": true, "LOCALHOST:1": true, "127.0.0.1": true, "127.0.0.1:8080": true,
		"[::1]:8080": true, "[::1]": true, "127.9.9.9:1": true, "watch.example:80": true,
		"": false, "evil.example": false, "evil.example:8080": false, "localhost.evil.example": false,
		"192.0.2.1:8080": false, "[2001:db8::1]:80": false, "0.0.0.0:80": false,
	} {
		require.Equal(t, want, open.HostAllowed(host), "%q", host)
	}
	require.True(t, guard(t).HostAllowed("evil.example"), "with tokens the name does not matter")
}

func TestCheckTokens(t *testing.T) {
	ok := access.Token{Name: "noc", Secret: collector.NewSecret(noc), Role: access.See}
	hashed := access.Token{Name: "b", Hash: access.HashOf(noc), Role: access.See}
	for want, tokens := range map[string][]access.Token{
		`name "" must not be empty`:              {{Secret: ok.Secret, Role: access.See}},
		`name "a:b" must not`:                    {{Name: "a:b", Secret: ok.Secret, Role: access.See}},
		`another token has this name`:            {ok, {Name: "noc", Secret: collector.NewSecret(chef), Role: access.See}},
		`role missing`:                           {{Name: "noc", Secret: ok.Secret}},
		`secret has 5 bytes; use 16 or more`:     {{Name: "noc", Secret: collector.NewSecret("short"), Role: access.See}},
		`secret has 0 bytes; use 16 or more`:     {{Name: "noc", Role: access.See}},
		`same secret as token "noc"; each needs`: {ok, {Name: "c", Secret: ok.Secret, Role: access.See}},
		`same secret as token "noc"`:             {ok, hashed},
		`both hash and secret are given`:         {{Name: "b", Secret: ok.Secret, Hash: hashed.Hash, Role: access.See}},
	} {
		err := access.Check(tokens)
		require.ErrorContains(t, err, want)
		require.NotContains(t, err.Error(), noc, "no secret in an error")
		_, err = access.NewGuard(tokens, nil)
		require.Error(t, err)
	}
	require.NoError(t, access.Check([]access.Token{ok}))
	require.NoError(t, access.Check([]access.Token{hashed}))
}

func TestRoles(t *testing.T) {
	for r := access.See; r <= access.Administer; r++ {
		text, err := r.MarshalText()
		require.NoError(t, err)
		var back access.Role
		require.NoError(t, back.UnmarshalText(text))
		require.Equal(t, r, back)
		require.True(t, r.May(access.See))
		require.Equal(t, r >= access.Commission, r.May(access.Commission))
	}
	var r access.Role
	require.ErrorContains(t, r.UnmarshalText([]byte("boss")), `unknown role "boss": use see, operate, commission, administer`)
	require.Error(t, r.UnmarshalText([]byte("nothing")))
	require.Equal(t, "role(9)", access.Role(9).String())
	require.False(t, access.Nothing.May(access.See))
}

func BenchmarkSignIn(b *testing.B) {
	g := guard(b)
	r := request(basic("noc", noc))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := g.SignIn(r, now); err != nil {
			b.Fatal(err)
		}
	}
}
