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
// What to ask for comes from package model. Units keep no socket between
// polls; of a unit of version 3 its engine's id, clock and keys are kept. The
// PDU itself is encoded and decoded by gosnmp, everything around it here and
// in package usm.
package snmp

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/snmp/usm"
)

// A Client reads units. Safe for concurrent use; the caller sees to it that
// one address is read once at a time.
type Client struct {
	timeout     time.Duration
	tries       int
	maxObjects  int
	plans       map[string]*plan
	credentials map[string]*credentials
	log         *zap.Logger
	messages    atomic.Uint32 // message ids given out
	buffers     sync.Pool
	closed      context.Context
	close       context.CancelFunc

	mu      sync.Mutex
	engines map[engineKey]*usm.Engine
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

type engineKey struct{ address, credentials string }

const maxDatagram = 65535

// New returns a Client. The error lists every fault of the config.
func New(cfg Config, log *zap.Logger) (*Client, error) {
	if err := cfg.Validate(); err != nil {
		return nil, fmt.Errorf("SNMP client: %w", err)
	}
	c := &Client{timeout: cfg.Timeout, tries: cfg.Retries + 1, maxObjects: cfg.MaxObjects, log: log,
		plans: map[string]*plan{}, credentials: map[string]*credentials{}, engines: map[engineKey]*usm.Engine{}}
	c.closed, c.close = context.WithCancel(context.Background())
	c.messages.Store(rand.Uint32())
	c.buffers.New = func() any { b := make([]byte, maxDatagram); return &b }
	for _, name := range cfg.Models.Names() {
		m, _ := cfg.Models.Model(name)
		c.plans[name] = newPlan(m)
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
	return c, nil
}

// Format prints a placeholder for every verb: a Client holds secrets and keys.
func (c *Client) Format(f fmt.State, _ rune) { _, _ = fmt.Fprint(f, "(SNMP client)") }

// Close ends what is under way; every read returns an error that wraps
// ErrClosed from then on.
func (c *Client) Close() error {
	c.close()
	return nil
}

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
	var readings []collector.Reading
	err := c.read(ctx, u, func(p *plan, objects []object, taken time.Time) {
		places := p.of(u)
		readings = make([]collector.Reading, len(places))
		for n, i := range places {
			readings[n], _ = p.decode(i, u.ID, objects, taken)
		}
	})
	return readings, err
}

// Read reads a unit once and tells how each reading came about. Errors as of
// Probe.
func (c *Client) Read(ctx context.Context, u collector.Unit) ([]Detail, error) {
	var details []Detail
	err := c.read(ctx, u, func(p *plan, objects []object, taken time.Time) {
		places := p.of(u)
		details = make([]Detail, len(places))
		for n, i := range places {
			details[n] = p.detail(i, u.ID, objects, taken)
		}
	})
	return details, err
}

func (c *Client) read(ctx context.Context, u collector.Unit, use func(*plan, []object, time.Time)) error {
	p, ok := c.plans[u.Equipment.Model]
	if !ok {
		return &Error{Unit: u.ID, Address: u.Address, Cause: NoModel, Detail: fmt.Sprintf("%q", u.Equipment.Model)}
	}
	objects, taken, err := c.ask(ctx, u, p.oids)
	if err == nil {
		use(p, objects, taken)
	}
	return err
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
	objects, _, err := c.ask(ctx, u, []string{sysObjectID, sysDescr, sysUpTime})
	if err != nil {
		return Identity{}, err
	}
	id := Identity{ObjectID: objects[0].value.OID, Description: string(objects[1].value.Bytes)}
	if v := objects[2].value; v.Kind == model.Unsigned {
		id.Uptime = time.Duration(uint32(v.Uint)) * 10 * time.Millisecond
	}
	return id, nil
}

// ask opens a session with a unit, asks for the objects and returns them with
// the time at which the last answer came.
func (c *Client) ask(ctx context.Context, u collector.Unit, oids []string) ([]object, time.Time, error) {
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)
	defer context.AfterFunc(c.closed, func() { cancel(ErrClosed) })()
	objects := make([]object, len(oids))
	ask := make([]*object, len(oids))
	for i, oid := range oids {
		objects[i].oid, ask[i] = oid, &objects[i]
	}
	taken, err := c.converse(ctx, u, ask)
	if err != nil {
		return nil, time.Time{}, named(err, u)
	}
	return objects, taken, nil
}

func (c *Client) converse(ctx context.Context, u collector.Unit, ask []*object) (time.Time, error) {
	d, err := c.dialectFor(u)
	if err != nil {
		return time.Time{}, err
	}
	conn, err := dial(ctx, u.Address, c.timeout*time.Duration(c.tries))
	if err != nil {
		if ctx.Err() != nil {
			err = context.Cause(ctx)
		}
		return time.Time{}, err
	}
	defer conn.Close()
	defer context.AfterFunc(ctx, func() { _ = conn.SetReadDeadline(time.Unix(1, 0)) })()
	buf := c.buffers.Get().(*[]byte)
	defer c.buffers.Put(buf)
	first := rand.Int32N(1 << 30)
	s := session{conn: conn, dialect: d, timeout: c.timeout, tries: c.tries, first: first, next: first, buf: *buf,
		log: c.log.With(zap.String("unit", u.ID))}
	err = s.fetch(ctx, ask, c.maxObjects)
	return s.arrived, err
}

func (c *Client) dialectFor(u collector.Unit) (dialect, error) {
	cr, ok := c.credentials[u.Credentials]
	if !ok {
		return nil, &Error{Cause: NoCredentials, Detail: fmt.Sprintf("%q", u.Credentials)}
	}
	switch cr.version {
	case Version1:
		return community{0, cr.community}, nil
	case Version2c:
		return community{1, cr.community}, nil
	}
	key := engineKey{u.Address, u.Credentials}
	c.mu.Lock()
	defer c.mu.Unlock()
	e := c.engines[key]
	if e == nil {
		e = usm.NewEngine(cr.user, cr.context)
		c.engines[key] = e
	}
	return &secured{engine: e, newID: func() int32 { return int32(c.messages.Add(1) & (1<<31 - 1)) }}, nil
}

// named puts the unit into an error.
func named(err error, u collector.Unit) error {
	var e *Error
	if errors.As(err, &e) {
		e.Unit, e.Address = u.ID, u.Address
		return err
	}
	return fmt.Errorf("read unit %q at %q: %w", u.ID, u.Address, err)
}
