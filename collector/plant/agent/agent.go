// Package agent lets a simulated plant answer SNMP as real units do: one UDP
// socket and one SNMP engine per unit, versions 1, 2c and 3 (USM), on
// loopback as a rule.
//
// It shares no code with package snmp, the other end of the wire, so that one
// mistake cannot hide another.
//
// It guarantees that nothing can be changed through it (every SET is
// refused), that a datagram it cannot read is dropped without harm, and that
// as the authoritative side it keeps the rules of RFC 3414: discovery, time
// window, counters in reports. The objects come from a Source, which package
// plant implements; nothing is kept here but engine boots and keys. Standards:
// RFC 1157, 3411 to 3417, 3584, 3826, 7860.
package agent

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"
	"golang.org/x/sync/errgroup"

	"lightwell/collector"
	"lightwell/collector/plant"
)

// maxMessage is the largest message read or written, in octets. It is what
// small equipment has, and it keeps a thousand units cheap.
const maxMessage = 4096

// A Source has the objects of the units. Objects returns all that the agent
// of a unit shows at now, which is the wall clock's time; silent means that
// the agent does not answer at all. It is called once for each request, from
// several goroutines at once, and keeps no hold on the slice it returned
// until it is called again for the same unit.
type Source interface {
	Objects(agentUnit string, now time.Time) (objects []plant.Object, silent bool)
}

var _ Source = (*plant.Plant)(nil)

// Config says which units answer, where, and to whom.
type Config struct {
	Source Source
	Units  []string // the units that have an agent of their own

	// Listen is the address of the first unit; loopback, unless other machines
	// shall ask. Each further unit has the next port, or the next address when
	// OwnAddresses is set. Port 0: the kernel picks a free port for every unit.
	Listen       netip.AddrPort
	OwnAddresses bool

	Communities []collector.Secret // accepted with versions 1 and 2c; none: both are off
	Users       []User             // accepted with version 3; none: it only answers discovery
}

// Validate reports everything that is wrong with c, joined.
func (c Config) Validate() error {
	var errs []error
	if c.Source == nil {
		errs = append(errs, errors.New("no source of objects"))
	}
	if !c.Listen.IsValid() {
		errs = append(errs, errors.New("no address to listen at"))
	}
	if last := int(c.Listen.Port()) + len(c.Units) - 1; c.Listen.Port() != 0 && !c.OwnAddresses && last > 65535 {
		errs = append(errs, fmt.Errorf("%d units from port %d need ports up to %d; start lower or give each its own address", len(c.Units), c.Listen.Port(), last))
	}
	seen := map[string]bool{}
	for _, u := range c.Users {
		errs = append(errs, u.Validate())
		if seen[u.Name] {
			errs = append(errs, fmt.Errorf("user %q stands there twice", u.Name))
		}
		seen[u.Name] = true
	}
	return errors.Join(errs...)
}

// Agents are the SNMP agents of a simulated plant.
type Agents struct {
	units    []*unit
	byID     map[string]*unit
	sessions sync.Pool
	answered atomic.Uint64
}

// A unit is one agent. Its goroutine owns everything in it.
type unit struct {
	id          string
	conn        *net.UDPConn
	addr        string
	source      Source
	log         *zap.Logger
	communities map[string]bool
	names       map[string]int // account by user name
	accounts    []account
	engine      engine
	view        view
}

// New opens the socket of every unit. When one address cannot be had it
// closes what it opened and returns an error. Units answer once Run is called.
func New(c Config, log *zap.Logger) (*Agents, error) {
	if err := c.Validate(); err != nil {
		return nil, fmt.Errorf("simulated agents: %w", err)
	}
	a := &Agents{byID: map[string]*unit{}}
	a.sessions.New = func() any { return &session{encoder: encoder{make([]byte, 0, 2*maxMessage)}} }
	communities, names := map[string]bool{}, map[string]int{}
	for _, community := range c.Communities {
		communities[community.Reveal()] = true
	}
	accounts := make([]account, len(c.Users))
	for i, user := range c.Users {
		accounts[i], names[user.Name] = newAccount(user), i
	}
	at := c.Listen
	for _, id := range c.Units {
		conn, err := net.ListenUDP("udp", net.UDPAddrFromAddrPort(at))
		if err != nil {
			return nil, errors.Join(fmt.Errorf("simulated agent of unit %q: %w", id, err), a.Close())
		}
		u := &unit{id: id, conn: conn, addr: conn.LocalAddr().String(), source: c.Source, log: log.With(zap.String("unit", id)),
			communities: communities, names: names, accounts: accounts, engine: newEngine(id, len(accounts), time.Now())}
		a.units = append(a.units, u)
		a.byID[id] = u
		at = next(at, c.OwnAddresses)
	}
	return a, nil
}

func next(at netip.AddrPort, ownAddresses bool) netip.AddrPort {
	switch {
	case ownAddresses:
		return netip.AddrPortFrom(at.Addr().Next(), at.Port())
	case at.Port() == 0:
		return at
	}
	return netip.AddrPortFrom(at.Addr(), at.Port()+1)
}

// Addr returns host:port of a unit's agent, or "" when it has none.
func (a *Agents) Addr(unit string) string {
	if u := a.byID[unit]; u != nil {
		return u.addr
	}
	return ""
}

// Answered returns how many replies have been sent. Safe for concurrent use.
func (a *Agents) Answered() uint64 { return a.answered.Load() }

// Close closes the sockets, for when Run is not called. It is safe to call
// after Run, and more than once.
func (a *Agents) Close() error {
	var errs []error
	for _, u := range a.units {
		if err := u.conn.Close(); err != nil && !errors.Is(err, net.ErrClosed) {
			errs = append(errs, fmt.Errorf("close agent of unit %q: %w", u.id, err))
		}
	}
	return errors.Join(errs...)
}

// Run answers until ctx ends, then closes the sockets and returns nil. It
// returns an error only when a socket can no longer be read.
func (a *Agents) Run(ctx context.Context) error {
	group, ctx := errgroup.WithContext(ctx)
	for _, u := range a.units {
		group.Go(func() error { return a.serve(ctx, u) })
	}
	group.Go(func() error {
		<-ctx.Done()
		return a.Close()
	})
	return group.Wait()
}

func (a *Agents) serve(ctx context.Context, u *unit) error {
	in := make([]byte, maxMessage+1)
	for {
		n, from, err := u.conn.ReadFromUDPAddrPort(in)
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil:
			return fmt.Errorf("read request to unit %q: %w", u.id, err)
		case n > maxMessage:
			continue
		}
		s := a.sessions.Get().(*session)
		if out := u.answer(s, in[:n], time.Now()); out != nil {
			if _, err := u.conn.WriteToUDPAddrPort(out, from); err != nil {
				u.log.Debug("reply not sent", zap.Error(err))
			} else {
				a.answered.Add(1)
			}
		}
		a.sessions.Put(s)
	}
}

// answer returns the reply to a datagram, or nil when there is none to give.
// The reply lives in s; in may be altered.
func (u *unit) answer(s *session, in []byte, now time.Time) []byte {
	s.b, s.limit, s.view = s.b[:0], maxMessage, &u.view
	outer := decoder{rest: in}
	d := outer.enter(tagSequence)
	version := d.integer()
	if d.bad || len(outer.rest) > 0 {
		return nil
	}
	switch s.version = int(version); version {
	case version1, version2c:
		return u.answerCommunity(s, &d, now)
	case version3:
		return u.answer3(s, &d, in, now)
	}
	return nil
}

func (u *unit) answerCommunity(s *session, d *decoder, now time.Time) []byte {
	community := d.content(tagOctets)
	if !u.communities[string(community)] || !s.decodePDU(d) || !u.refresh(now) {
		return nil
	}
	message := s.open(tagSequence)
	s.integer(int64(s.version))
	s.octets(tagOctets, community)
	if !s.writePDU(noError) {
		return nil
	}
	s.close(message)
	return s.b
}

// refresh takes what the unit shows now, and returns false when its agent is
// silent.
func (u *unit) refresh(now time.Time) bool {
	objects, silent := u.source.Objects(u.id, now)
	if silent {
		return false
	}
	u.view.set(objects, u.log)
	if upTime, ok := u.view.upTime(); ok {
		u.engine.notice(upTime, now)
	}
	return true
}
