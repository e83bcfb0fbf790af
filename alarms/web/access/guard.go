package access

import (
	"context"
	"crypto/sha256"
	"crypto/subtle"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"strings"
	"time"
)

// MinSecret is the shortest secret a token may have, in bytes: long enough
// that guessing is hopeless at the rate the Guard allows.
const MinSecret = 16

// Errors of SignIn.
var (
	ErrNoCredentials = errors.New("no credentials in the request")
	ErrUnknown       = errors.New("name or secret is not known")
	ErrTooMany       = errors.New("too many failed sign-ins from this address")
)

// Guard signs requests in. Without tokens everybody is Local, and only
// requests to a name of the machine itself are let in. Safe for concurrent
// use.
type Guard struct {
	keys     []key
	hosts    map[string]bool
	attempts attempts
}

type key struct {
	person Person
	name   [sha256.Size]byte
	secret [sha256.Size]byte
}

// NewGuard returns a Guard for the tokens. hosts are further names by which
// the program is reached; they matter only without tokens.
func NewGuard(tokens []Token, hosts []string) (*Guard, error) {
	g := &Guard{hosts: map[string]bool{"localhost": true}, attempts: attempts{seen: map[netip.Addr]*failures{}}}
	for _, h := range hosts {
		g.hosts[strings.ToLower(h)] = true
	}
	if err := Check(tokens); err != nil {
		return nil, err
	}
	for _, t := range tokens {
		g.keys = append(g.keys, key{
			person: Person{Name: t.Name, Role: t.Role},
			name:   sha256.Sum256([]byte(t.Name)),
			secret: sha256.Sum256([]byte(t.Secret.Reveal())),
		})
	}
	return g, nil
}

// Check returns every fault of the tokens, joined; none of the texts holds a
// secret.
func Check(tokens []Token) error {
	var faults []error
	names, secrets := map[string]bool{}, map[string]string{}
	for i, t := range tokens {
		switch {
		case t.Name == "" || strings.ContainsAny(t.Name, ": \t\r\n"):
			faults = append(faults, fmt.Errorf("token %d: name %q must not be empty or hold spaces or colons", i+1, t.Name))
		case names[t.Name]:
			faults = append(faults, fmt.Errorf("token %q: another token has this name; give each person their own", t.Name))
		}
		names[t.Name] = true
		if t.Role == Nothing || t.Role > Administer {
			faults = append(faults, fmt.Errorf("token %q: role missing; use see, operate, commission or administer", t.Name))
		}
		secret := t.Secret.Reveal()
		if len(secret) < MinSecret {
			faults = append(faults, fmt.Errorf("token %q: secret has %d bytes; use %d or more random ones", t.Name, len(secret), MinSecret))
		} else if other, double := secrets[secret]; double {
			faults = append(faults, fmt.Errorf("token %q: same secret as token %q; each needs its own", t.Name, other))
		}
		secrets[secret] = t.Name
	}
	return errors.Join(faults...)
}

// Open tells whether there are no tokens.
func (g *Guard) Open() bool { return len(g.keys) == 0 }

// SignIn tells who made the request: by "Authorization: Bearer SECRET" or by
// HTTP Basic with the token's name and secret. Errors: ErrNoCredentials,
// ErrUnknown, ErrTooMany.
func (g *Guard) SignIn(r *http.Request, now time.Time) (Person, error) {
	if g.Open() {
		local := Local
		local.From = address(r).String()
		return local, nil
	}
	name, secret, bearer, ok := credentials(r)
	if !ok {
		return Person{}, ErrNoCredentials
	}
	from := remote(r)
	if g.attempts.blocked(from, now) {
		return Person{}, ErrTooMany
	}
	if p, ok := g.match(name, secret, bearer); ok {
		p.From = address(r).String()
		return p, nil
	}
	g.attempts.failed(from, now)
	return Person{}, ErrUnknown
}

// match compares with every key, so that its time tells nothing.
func (g *Guard) match(name, secret string, bearer bool) (p Person, ok bool) {
	n, s := sha256.Sum256([]byte(name)), sha256.Sum256([]byte(secret))
	for i := range g.keys {
		k := &g.keys[i]
		same := subtle.ConstantTimeCompare(k.secret[:], s[:])
		if !bearer {
			same &= subtle.ConstantTimeCompare(k.name[:], n[:])
		}
		if same == 1 {
			p, ok = k.person, true
		}
	}
	return p, ok
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
