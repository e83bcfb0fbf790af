package snmp

import (
	"context"
	"errors"
	"net"
	"net/netip"
	"sync"
	"time"

	"lightwell/collector"
	"lightwell/collector/snmp/engine"
	"lightwell/collector/snmp/usm"
)

// A peer is what must be remembered between the polls of an address. There is
// one for each address and credentials of the fleet; strangers make none.
type peer struct {
	engine *usm.Engine // nil below version 3

	mu       sync.Mutex
	to       netip.AddrPort
	resolved time.Time // when to was looked up; zero: it is no name
	silences int       // polls in a row that nobody answered
	ids      [2]int32  // the last of the poll before
}

type peerKey struct{ address, credentials string }

const (
	// nameAge is how long an address is taken for that of a name.
	nameAge = 5 * time.Minute
	// deadAfter is how many polls in a row must stay unanswered before a unit is
	// asked among the dead ones.
	deadAfter = 3
)

// peerOf returns the peer of a unit.
func (c *Client) peerOf(u *collector.Unit, a *credentials) *peer {
	key := peerKey{u.Address, u.Credentials}
	c.mu.Lock()
	defer c.mu.Unlock()
	p := c.peers[key]
	if p == nil {
		p = &peer{}
		if to, err := netip.ParseAddrPort(u.Address); err == nil {
			p.to = to
		}
		if a.version == Version3 {
			p.engine = usm.NewEngine(a.user, a.context)
		}
		c.peers[key] = p
	}
	return p
}

// address returns where to ask and whether the unit is dead; false when the
// name must be resolved first.
func (p *peer) address(now time.Time) (to netip.AddrPort, dead, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	ok = p.to.IsValid() && (p.resolved.IsZero() || now.Sub(p.resolved) < nameAge)
	return p.to, p.silences >= deadAfter, ok
}

// asked tells whether an id belongs to the poll before.
func (p *peer) asked(id int32) bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return id != 0 && (id == p.ids[0] || id == p.ids[1])
}

// remember keeps what the end of a poll tells. A name whose unit is silent is
// looked up anew.
func (p *peer) remember(of *poll, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	for i := range p.ids {
		if at := of.sent - 1 - i; at >= 0 {
			p.ids[i] = of.ids[at%recentIDs]
		}
	}
	switch {
	case err == nil:
		p.silences = 0
	case errors.Is(err, collector.ErrNoAnswer):
		p.silences++
		if !p.resolved.IsZero() {
			p.resolved = time.Unix(1, 0)
		}
	case !errors.Is(err, engine.ErrCancelled) && !errors.Is(err, ErrClosed):
		p.silences = 0
	}
}

// resolve looks a name up. While name servers are out of reach, the address
// that was found before is used.
func (p *peer) resolve(ctx context.Context, address string, patience time.Duration) error {
	if _, _, err := net.SplitHostPort(address); err != nil {
		return &Error{Cause: AddressInvalid, Err: err}
	}
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	to, err := lookUp(ctx, address)
	p.mu.Lock()
	defer p.mu.Unlock()
	var unknown *net.DNSError
	switch {
	case err == nil:
		p.to, p.resolved = to, time.Now()
		return nil
	case p.to.IsValid() && errors.As(err, &unknown) && !unknown.IsNotFound:
		p.resolved = time.Now()
		return nil
	case errors.As(err, &unknown):
		return &Error{Cause: NameUnknown, Err: err}
	}
	return &Error{Cause: AddressInvalid, Err: err}
}

// lookUp returns the first address of a name, IPv4 before IPv6.
func lookUp(ctx context.Context, address string) (netip.AddrPort, error) {
	host, service, _ := net.SplitHostPort(address)
	port, err := net.DefaultResolver.LookupPort(ctx, "udp", service)
	if err != nil {
		return netip.AddrPort{}, &net.AddrError{Err: "invalid port", Addr: address}
	}
	all, err := net.DefaultResolver.LookupNetIP(ctx, "ip", host)
	if err != nil {
		return netip.AddrPort{}, err
	}
	found := all[0].Unmap()
	for _, a := range all {
		if a.Unmap().Is4() {
			found = a.Unmap()
			break
		}
	}
	return netip.AddrPortFrom(found, uint16(port)), nil
}
