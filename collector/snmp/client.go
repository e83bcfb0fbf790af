// Package snmp reads units over SNMP, versions 1, 2c and 3: the Prober of the
// running program, and the details that an engineer wants on the day of
// installation.
//
// It guarantees that a reading comes from an answer that was checked against
// its request: sender, version, community or user, digest, time window, message
// and request id, kind of PDU, error status, and exactly the objects asked for
// in their order. What the unit does not have, and what cannot be true, is
// missing and never zero. Datagrams that do not fit neither use up a try nor
// end the wait. Nothing it returns, logs or prints holds a secret.
//
// What to ask for comes from package model. All units share the one or two
// sockets of package engine; of a unit of version 3 its engine's id, clock and
// keys are kept. Requests and ordinary answers are the business of package get,
// version 3 that of package usm; what is out of the ordinary gosnmp decodes.
package snmp

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/snmp/engine"
	"lightwell/collector/snmp/usm"
)

// A Client reads units. Safe for concurrent use; the caller sees to it that
// one address is read once at a time.
type Client struct {
	timeout     time.Duration
	tries       int
	plans       map[string]*plan
	credentials map[string]*credentials
	log         *zap.Logger
	engine      *engine.Engine
	identify    *plan
	polls       sync.Pool
	closed      context.Context
	close       context.CancelFunc

	mu    sync.Mutex
	peers map[peerKey]*peer
}

var _ collector.Prober = (*Client)(nil)

// credentials are ready to use. They hold secrets: only a Client, which prints
// as a placeholder, may hold them.
type credentials struct {
	version   string
	community []byte
	user      *usm.User
	context   string
}

const maxDatagram = 65535

// New returns a Client. The error lists every fault of the config.
func New(cfg Config, log *zap.Logger) (*Client, error) {
	if err := cfg.Validate(); err != nil {
		return nil, fmt.Errorf("SNMP client: %w", err)
	}
	c := &Client{timeout: cfg.Timeout, tries: cfg.Retries + 1, log: log, identify: identification,
		plans: map[string]*plan{}, credentials: map[string]*credentials{}, peers: map[peerKey]*peer{}}
	c.closed, c.close = context.WithCancel(context.Background())
	c.polls.New = func() any { return c.newPoll() }
	for _, name := range cfg.Models.Names() {
		m, _ := cfg.Models.Model(name)
		var err error
		if c.plans[name], err = newPlan(m, cfg.MaxObjects); err != nil {
			return nil, fmt.Errorf("SNMP client: %w", err)
		}
	}
	for name, cr := range cfg.Credentials {
		ready := &credentials{version: cr.Version, community: []byte(cr.Community.Reveal()), context: cr.Context}
		if cr.Version == Version3 {
			var err error
			if ready.user, err = usm.NewUser(usm.Account{User: cr.User, Auth: cr.Auth, AuthPassword: cr.AuthPassword,
				Privacy: cr.Privacy, PrivacyPassword: cr.PrivacyPassword}); err != nil {
				return nil, fmt.Errorf("SNMP client: credentials %q: %w", name, err)
			}
		}
		c.credentials[name] = ready
	}
	var err error
	c.engine, err = engine.New(engine.Config{Timeout: cfg.Timeout, Tries: c.tries, Window: cfg.Window, Silent: cfg.Window / 8, Pace: cfg.Pace, Log: log})
	return c, err
}

// Format prints a placeholder for every verb: a Client holds secrets and keys.
func (c *Client) Format(f fmt.State, _ rune) { _, _ = fmt.Fprint(f, "(SNMP client)") }

// Close ends what is under way; every read returns an error that wraps
// ErrClosed from then on.
func (c *Client) Close() error {
	c.close()
	return c.engine.Close()
}

// Stats returns what the engine under the client has counted.
func (c *Client) Stats() engine.Stats { return c.engine.Stats() }

// A Detail is a reading and how it came about.
type Detail struct {
	collector.Reading
	Object string // the objects asked for, separated by spaces
	Raw    string // what the unit answered, in the same order
	Note   string // why there is no value, or what is odd about it
}

// Probe reads a unit once: collector.Prober. A unit with its own address and
// one read via another are read at their Address alike.
func (c *Client) Probe(ctx context.Context, u collector.Unit) ([]collector.Reading, error) {
	p, err := c.read(ctx, u)
	if err != nil {
		return nil, err
	}
	defer c.release(p)
	return p.readings(), nil
}

// Read reads a unit once and tells how each reading came about. Errors as of
// Probe.
func (c *Client) Read(ctx context.Context, u collector.Unit) ([]Detail, error) {
	p, err := c.read(ctx, u)
	if err != nil {
		return nil, err
	}
	defer c.release(p)
	places := p.plan.of(u)
	details := make([]Detail, len(places))
	for n, i := range places {
		details[n] = p.plan.detail(i, u.ID, p.answers, taken(p))
	}
	return details, nil
}

// Submit reads a unit like Probe without a goroutine that waits: done is called
// once with what Probe would return, by a goroutine of the engine, which waits
// for it. It may be called before Submit returns.
func (c *Client) Submit(u collector.Unit, done func([]collector.Reading, error)) {
	plan, err := c.planOf(u)
	if err != nil {
		done(nil, err)
		return
	}
	p, named, err := c.prepare(u, plan, deliver)
	if err != nil {
		done(nil, err)
		return
	}
	p.done = done
	if named {
		go c.resolveAndAsk(p)
		return
	}
	p.ask()
}

// deliver ends a poll of Submit.
func deliver(p *poll, err error) {
	var readings []collector.Reading
	if err == nil {
		readings = p.readings()
	}
	done := p.done
	p.client.release(p)
	done(readings, err)
}

func taken(p *poll) time.Time { return p.arrived.UTC().Round(0) }

// readings are what the answers of an ended poll mean.
func (p *poll) readings() []collector.Reading {
	at := taken(p)
	out := make([]collector.Reading, 0, len(p.plan.points))
	for i := range p.plan.points {
		if p.plan.fitted(i, &p.unit) {
			r, _ := p.plan.decode(i, p.unit.ID, p.answers, at, &p.values)
			out = append(out, r)
		}
	}
	return out
}

func (c *Client) planOf(u collector.Unit) (*plan, error) {
	if p, ok := c.plans[u.Equipment.Model]; ok {
		return p, nil
	}
	return nil, &Error{Unit: u.ID, Address: u.Address, Cause: NoModel, Detail: fmt.Sprintf("%q", u.Equipment.Model)}
}

func (c *Client) read(ctx context.Context, u collector.Unit) (*poll, error) {
	plan, err := c.planOf(u)
	if err != nil {
		return nil, err
	}
	return c.wait(ctx, u, plan)
}

// Identity is how a unit introduces itself.
type Identity struct {
	ObjectID    string // sysObjectID: the kind of equipment, for model.Set.Recognised
	Description string // sysDescr
	Uptime      time.Duration
}

// Objects of the system group (RFC 3418).
const (
	sysDescr    = "1.3.6.1.2.1.1.1.0"
	sysObjectID = "1.3.6.1.2.1.1.2.0"
	sysUpTime   = "1.3.6.1.2.1.1.3.0"
)

// Identify asks a unit what it is. What the unit does not tell stays empty.
// The unit needs no model. Errors as of Probe.
func (c *Client) Identify(ctx context.Context, u collector.Unit) (Identity, error) {
	p, err := c.wait(ctx, u, c.identify)
	if err != nil {
		return Identity{}, err
	}
	defer c.release(p)
	id := Identity{ObjectID: p.answers[0].Value.OID, Description: string(p.answers[1].Value.Bytes)}
	if v := p.answers[2].Value; v.Kind == model.Unsigned {
		id.Uptime = time.Duration(uint32(v.Uint)) * 10 * time.Millisecond
	}
	return id, nil
}

// identification asks for the system group.
var identification = func() *plan {
	p := &plan{oids: []string{sysObjectID, sysDescr, sysUpTime}}
	p.parts, _ = newParts(p.oids, len(p.oids))
	return p
}()

// named puts the unit into an error.
func (c *Client) named(err error, u collector.Unit) error {
	var e *Error
	if errors.As(err, &e) {
		e.Unit, e.Address = u.ID, u.Address
		return err
	}
	return fmt.Errorf("read unit %q at %q: %w", u.ID, u.Address, err)
}
