package usm

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"time"

	"lightwell/collector/snmp/ber"
)

// Faults of a message. Each means: as if it had not come.
var (
	ErrID        = errors.New("message id is not that of a request under way")
	ErrUser      = errors.New("user or engine is not the one asked")
	ErrLevel     = errors.New("security level is below that of the request")
	ErrDigest    = errors.New("digest is wrong")
	ErrWindow    = errors.New("message is outside the time window")
	ErrDecrypt   = errors.New("content cannot be decrypted")
	ErrContext   = errors.New("context is not the one asked")
	ErrEngineID  = errors.New("engine id has not 5 to 32 octets")
	errUnencoded = errors.New("scoped part cannot be read")
)

// An Engine is what must be remembered of the SNMP engine of one unit: its id,
// its clock and our keys there. Safe for concurrent use.
type Engine struct {
	user    *User
	context string

	mu    sync.Mutex
	known bool
	id    []byte // outlives Forget, so that the keys need not be made again
	keys  keys
	clock Clock
	salt  uint64
}

// NewEngine returns an engine not discovered yet, to be asked as user for the
// objects of the named context.
func NewEngine(user *User, context string) *Engine {
	return &Engine{user: user, context: context, salt: rand.Uint64()}
}

// Known tells whether the engine has been discovered.
func (e *Engine) Known() bool {
	e.mu.Lock()
	defer e.mu.Unlock()
	return e.known
}

// Forget makes the next message a discovery.
func (e *Engine) Forget() {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.known = false
}

// Seal appends a message that carries the PDU to dst. While the engine is not
// known the message is a discovery request (RFC 3414 section 4) and the PDU is
// left out.
func (e *Engine) Seal(dst []byte, id int32, pdu []byte, now time.Time) []byte {
	e.mu.Lock()
	defer e.mu.Unlock()
	if !e.known {
		return discovery(dst, id)
	}
	m := message{id: id, flags: flagReportable | byte(e.user.level), engine: e.id, user: e.user.name}
	if e.user.level == NoAuth {
		dst, _, _ = m.append(dst, e.context, pdu)
		return dst
	}
	m.boots, m.seconds = e.clock.Now(now)
	m.digest = zeros[:e.user.auth.MAC]
	var salt [saltSize]byte
	if e.user.level == AuthPriv {
		e.salt++ // never the same salt twice under one key, RFC 3826 3.1.2.1
		binary.BigEndian.PutUint64(salt[:], e.salt)
		m.salt = salt[:]
	}
	begin := len(dst)
	dst, digest, scoped := m.append(dst, e.context, pdu)
	s := scratches.Get().(*scratch)
	defer scratches.Put(s)
	if e.user.level == AuthPriv {
		s.vector(m.boots, m.seconds, m.salt)
		s.encrypt(e.keys.block, dst[scoped:])
	}
	copy(dst[digest:], s.digest(e.user.auth, e.keys.auth, dst[begin:]))
	return dst
}

var zeros [maxMAC]byte

func discovery(dst []byte, id int32) []byte {
	var room [32]byte
	pdu := ber.AppendInt32(ber.Open(room[:0], ber.GetRequest), id)
	pdu = ber.Close(append(pdu, ber.Integer, 1, 0, ber.Integer, 1, 0, ber.Sequence, 0), 0)
	m := message{id: id, flags: flagReportable}
	dst, _, _ = m.append(dst, "", pdu)
	return dst
}

// An Opened message has passed all checks that its kind is subject to.
type Opened struct {
	PDU    []byte // whole element
	Report bool   // the PDU is a report: the engine's word about our message, not about objects
	engine []byte
	boots  int32
	time   int32
}

// Open takes a message apart and checks that it answers a request of ours: its
// message id, our user and engine, the level we asked at, the right
// digest, the time window, the context. A report may come below our level and
// outside the window; one that claims to be authentic must be. Open changes b,
// and the result aliases it.
func (e *Engine) Open(b []byte, id int32, now time.Time) (Opened, error) {
	m, err := decode(b)
	if err != nil {
		return Opened{}, err
	}
	if m.id != id {
		return Opened{}, ErrID
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if m.level() != NoAuth {
		if err := e.authenticate(b, &m); err != nil {
			return Opened{}, err
		}
	}
	o := Opened{engine: m.engine, boots: m.boots, time: m.seconds}
	s := ber.NewReader(m.scoped)
	contextEngine, context := s.Element(ber.OctetString), s.Element(ber.OctetString)
	o.PDU = s.Rest()
	if s.Err() != nil || !ber.Whole(o.PDU) {
		if m.level() == AuthPriv {
			return Opened{}, ErrDecrypt
		}
		return Opened{}, errUnencoded
	}
	if o.Report = o.PDU[0] == ber.Report; o.Report {
		return o, nil
	}
	return o, e.admit(&m, contextEngine, context, now)
}

// authenticate checks user, engine and digest, and decrypts in place.
func (e *Engine) authenticate(b []byte, m *message) error {
	switch {
	case !e.known || !bytes.Equal(m.engine, e.id) || !bytes.Equal(m.user, e.user.name):
		return ErrUser
	case m.level() > e.user.level:
		return ErrLevel
	case !e.user.auth.authentic(e.keys.auth, b, m):
		return ErrDigest
	case m.level() == AuthOnly:
		return nil
	case len(m.salt) != saltSize:
		return ErrDecrypt
	}
	r := scratches.Get().(*scratch)
	r.vector(m.boots, m.seconds, m.salt)
	r.decrypt(e.keys.block, m.scoped)
	scratches.Put(r)
	plain := ber.NewReader(m.scoped)
	m.scoped = plain.Element(ber.Sequence)
	if plain.Err() != nil { // octets behind the SEQUENCE would be padding
		return ErrDecrypt
	}
	return nil
}

// admit checks what only an answer about objects must fulfil.
func (e *Engine) admit(m *message, contextEngine, context []byte, now time.Time) error {
	switch {
	case m.level() != e.user.level:
		return ErrLevel
	case !e.known || !bytes.Equal(m.engine, e.id) || !bytes.Equal(m.user, e.user.name):
		return ErrUser
	case !bytes.Equal(contextEngine, e.id) || string(context) != e.context:
		return ErrContext
	case m.level() != NoAuth && !e.clock.Accept(m.boots, m.seconds, now):
		return ErrWindow
	}
	return nil
}

// Adopt takes engine id, boots and time from a report to one of our messages,
// whether it is authentic or not: the next answer must be authentic by them,
// so a forged report can cost a retry but never a wrong reading. A unit that
// was exchanged or has lost its boot count is found again by it.
func (e *Engine) Adopt(o Opened, now time.Time) error {
	if len(o.engine) < 5 || len(o.engine) > 32 {
		return ErrEngineID
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	if !bytes.Equal(o.engine, e.id) {
		k, err := e.user.localise(o.engine)
		if err != nil {
			return fmt.Errorf("adopt engine %x: %w", o.engine, err)
		}
		e.id, e.keys = bytes.Clone(o.engine), k
	}
	e.known = true
	e.clock.Set(o.boots, o.time, now)
	return nil
}
