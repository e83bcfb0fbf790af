package access

import (
	"context"
	"crypto/subtle"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"sync/atomic"
	"time"
)

// Errors of signing in.
var (
	ErrNoCredentials = errors.New("no credentials in the request")
	ErrUnknown       = errors.New("name or secret is not known")
	ErrBlocked       = fmt.Errorf("%w, and the address is not heard for a while", ErrUnknown) // the failure that was one too many
	ErrTooMany       = errors.New("too many failed sign-ins from this address")
	ErrEnded         = errors.New("the session has ended")
)

// Guard signs requests in. Without tokens everybody is Local, and only
// requests to a name of the machine itself are let in. Safe for concurrent
// use.
type Guard struct {
	keys     atomic.Pointer[[]key]
	hosts    map[string]bool
	attempts attempts
	sessions sessions
}

type key struct {
	person Person
	name   Hash
	secret Hash
}

// NewGuard returns a Guard for the tokens. hosts are further names by which
// the program is reached; they matter only without tokens.
func NewGuard(tokens []Token, hosts []string) (*Guard, error) {
	g := &Guard{
		hosts:    map[string]bool{"localhost": true},
		attempts: attempts{seen: map[netip.Addr]*failures{}}, sessions: sessions{open: map[Hash]*Session{}},
	}
	for _, h := range hosts {
		g.hosts[strings.ToLower(h)] = true
	}
	if err := g.SetTokens(tokens); err != nil {
		return nil, err
	}
	return g, nil
}

// SetTokens puts other tokens in force, or none of them when one is at fault.
// Sessions of tokens that are gone or changed end.
func (g *Guard) SetTokens(tokens []Token) error {
	if err := Check(tokens); err != nil {
		return err
	}
	keys := make([]key, len(tokens))
	for i, t := range tokens {
		keys[i] = key{person: Person{Name: t.Name, Role: t.Role}, name: HashOf(t.Name), secret: t.hash()}
	}
	g.keys.Store(&keys)
	return nil
}

// Open tells whether there are no tokens.
func (g *Guard) Open() bool { return len(*g.keys.Load()) == 0 }

// SignIn tells who made the request: by "Authorization: Bearer SECRET", by
// HTTP Basic with the token's name and secret, or by the session that Begin
// began. Errors: ErrNoCredentials, ErrUnknown, ErrBlocked, ErrTooMany,
// ErrEnded.
func (g *Guard) SignIn(r *http.Request, now time.Time) (Person, error) {
	if g.Open() {
		local := Local
		local.From = address(r).String()
		return local, nil
	}
	name, secret, bearer, ok := credentials(r)
	if !ok {
		if id := sessionID(r); id != "" {
			return g.resume(r, id, now)
		}
		return Person{}, ErrNoCredentials
	}
	k, err := g.try(r, name, secret, bearer, now)
	if err != nil {
		return Person{}, err
	}
	p := k.person
	p.From = address(r).String()
	return p, nil
}

// try compares what somebody gave with the tokens, and counts failures.
func (g *Guard) try(r *http.Request, name, secret string, bearer bool, now time.Time) (key, error) {
	from := remote(r)
	if g.attempts.blocked(from, now) {
		return key{}, ErrTooMany
	}
	if k, ok := g.match(name, secret, bearer); ok {
		return k, nil
	}
	if g.attempts.failed(from, now) {
		return key{}, ErrBlocked
	}
	return key{}, ErrUnknown
}

// match compares with every key, so that its time tells nothing.
func (g *Guard) match(name, secret string, bearer bool) (found key, ok bool) {
	n, s := HashOf(name), HashOf(secret)
	for _, k := range *g.keys.Load() {
		same := subtle.ConstantTimeCompare(k.secret[:], s[:])
		if !bearer {
			same &= subtle.ConstantTimeCompare(k.name[:], n[:])
		}
		if same == 1 {
			found, ok = k, true
		}
	}
	return found, ok
}

func credentials(r *http.Request) (name, secret string, bearer, ok bool) {
	if name, secret, ok = r.BasicAuth(); ok {
		return name, secret, false, true
	}
	scheme, rest, ok := strings.Cut(r.Header.Get("Authorization"), " ")
	if !ok || !strings.EqualFold(scheme, "Bearer") {
		return "", "", false, false
	}
	return "", strings.TrimSpace(rest), true, true
}

// HostAllowed tells whether the Host header names this machine. With tokens
// any name is fine; without them a foreign name may be a page in a browser
// whose own name was made to point here.
func (g *Guard) HostAllowed(host string) bool {
	if !g.Open() {
		return true
	}
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	host = strings.ToLower(strings.TrimSuffix(strings.TrimPrefix(host, "["), "]"))
	if addr, err := netip.ParseAddr(host); err == nil {
		return addr.IsLoopback()
	}
	return g.hosts[host]
}

// remote is the address whose failures are counted together: an IPv4 address,
// or the /64 that an IPv6 address belongs to.
func remote(r *http.Request) netip.Addr {
	addr := address(r)
	if addr.Is6() {
		return netip.PrefixFrom(addr, 64).Masked().Addr()
	}
	return addr
}

// address is where the request came from; the zero Addr when that is not known.
func address(r *http.Request) netip.Addr {
	ap, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return netip.Addr{}
	}
	return ap.Addr().Unmap().WithZone("")
}

// Address is where the request came from.
func Address(r *http.Request) string { return address(r).String() }

type personKey struct{}

// WithPerson returns a context that carries who made the request.
func WithPerson(ctx context.Context, p Person) context.Context {
	return context.WithValue(ctx, personKey{}, p)
}

// Who returns the person of the context; the zero Person may nothing.
func Who(ctx context.Context) Person {
	p, _ := ctx.Value(personKey{}).(Person)
	return p
}
