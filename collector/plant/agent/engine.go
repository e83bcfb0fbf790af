package agent

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/binary"
	"math"
	"time"
)

// timeWindow is how far engine times may differ: RFC 3414 section 2.2.3.
const timeWindow = 150

// wrapZone: sysUpTime counts 32 bits of hundredths, 497 days. A fall from
// this close to the top to this close to zero is its wrap, any other fall a
// restart.
const wrapZone = 1 << 26

// A report is why a message was refused: RFC 3414 section 5 and
// RFC 3412 section 7. From unknownContext on the message had been opened, so
// that the report goes out at its level.
type report int

const (
	unsupportedLevel report = iota
	notInWindow
	unknownUser
	unknownEngine
	wrongDigest
	decryptionError
	unknownContext
	unknownHandler
	reports         // how many there are
	accepted report = -1
)

var reportNames = [reports][]byte{
	unsupportedLevel: encodeOID([]uint32{1, 3, 6, 1, 6, 3, 15, 1, 1, 1, 0}),
	notInWindow:      encodeOID([]uint32{1, 3, 6, 1, 6, 3, 15, 1, 1, 2, 0}),
	unknownUser:      encodeOID([]uint32{1, 3, 6, 1, 6, 3, 15, 1, 1, 3, 0}),
	unknownEngine:    encodeOID([]uint32{1, 3, 6, 1, 6, 3, 15, 1, 1, 4, 0}),
	wrongDigest:      encodeOID([]uint32{1, 3, 6, 1, 6, 3, 15, 1, 1, 5, 0}),
	decryptionError:  encodeOID([]uint32{1, 3, 6, 1, 6, 3, 15, 1, 1, 6, 0}),
	unknownContext:   encodeOID([]uint32{1, 3, 6, 1, 6, 3, 12, 1, 5, 0}),
	unknownHandler:   encodeOID([]uint32{1, 3, 6, 1, 6, 3, 11, 2, 1, 3, 0}),
}

// An engine is the authoritative SNMP engine of one unit: RFC 3414. Nothing
// of it is stored. The first boots are the seconds since 2020, so that boots
// rise from one run of the program to the next and no client that remembers
// an earlier run stays outside the time window.
type engine struct {
	id     []byte
	boots  int32
	booted time.Time
	upTime uint64
	salt   [saltOctets]byte // of the last encrypted reply; never used twice
	counts [reports]uint32
	keys   []*keys // by account; nil until the account is first used
}

// EngineID returns the SNMP engine id of a simulated unit: RFC 3411 section 5,
// enterprise 32473, format text with the unit's id, or format octets with a
// hash when the id is longer than 27 octets.
func EngineID(unit string) []byte {
	id := []byte{0x80, 0, 0x7e, 0xd9}
	if n := len(unit); n > 0 && n <= maxEngineID-len(id)-1 {
		return append(append(id, 4), unit...)
	}
	sum := sha256.Sum256([]byte(unit))
	return append(append(id, 5), sum[:16]...)
}

var firstBoot = time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)

func newEngine(unit string, accounts int, now time.Time) engine {
	boots := min(max(now.Sub(firstBoot)/time.Second, 1), math.MaxInt32-1)
	e := engine{id: EngineID(unit), boots: int32(boots), booted: now, keys: make([]*keys, accounts)}
	_, _ = rand.Read(e.salt[:]) // never fails: crypto/rand
	return e
}

// notice looks at the unit's uptime, and boots the engine anew when it fell.
func (e *engine) notice(upTime uint64, now time.Time) {
	wrapped := e.upTime > math.MaxUint32-wrapZone && upTime < wrapZone
	if upTime < e.upTime && !wrapped && e.boots < math.MaxInt32 {
		e.boots++
		e.booted = now
	}
	e.upTime = upTime
}

// time returns snmpEngineTime, in seconds since the engine booted.
func (e *engine) time(now time.Time) int32 {
	return int32(min(max(now.Sub(e.booted)/time.Second, 0), math.MaxInt32))
}

func (e *engine) nextSalt() []byte {
	binary.BigEndian.PutUint64(e.salt[:], binary.BigEndian.Uint64(e.salt[:])+1)
	return e.salt[:]
}

func (e *engine) inWindow(boots, t int32, now time.Time) bool {
	late := int64(e.time(now)) - int64(t)
	return e.boots != math.MaxInt32 && boots == e.boots && late >= -timeWindow && late <= timeWindow
}

// answer3 answers a version 3 message whose version was read from d. It may
// alter in.
func (u *unit) answer3(s *session, d *decoder, in []byte, now time.Time) []byte {
	var ok bool
	if s.e, ok = decodeEnvelope(d); !ok || !u.refresh(now) {
		return nil
	}
	s.limit = min(s.limit, int(s.e.maxSize))
	refused, who := u.admit(s, in, now)
	if refused == accepted && !u.open(s, d, who) {
		if s.e.level != authPriv {
			return nil
		}
		refused = decryptionError
	}
	if refused == accepted {
		refused = s.addressed(u.engine.id)
	}
	if refused != accepted {
		return u.report(s, d, refused, who, now)
	}
	refusal := noError
	if s.e.level < u.accounts[who].level {
		refusal = authorizationError
	}
	return u.seal(s, who, s.e.level, now, func() bool { return s.writePDU(refusal) })
}

// admit is RFC 3414 section 3.2, steps 3 to 7. It returns the account.
func (u *unit) admit(s *session, in []byte, now time.Time) (report, int) {
	if string(s.e.engineID) != string(u.engine.id) {
		return unknownEngine, -1
	}
	who, known := u.names[string(s.e.user)]
	if !known {
		return unknownUser, -1
	}
	if s.e.level > u.accounts[who].level {
		return unsupportedLevel, who
	}
	if s.e.level == noAuthNoPriv {
		return accepted, who
	}
	if !u.signed(s, in, who) {
		return wrongDigest, who
	}
	if !u.engine.inWindow(s.e.boots, s.e.time, now) {
		return notInWindow, who
	}
	return accepted, who
}

func (u *unit) keysOf(who int) *keys {
	if u.engine.keys[who] == nil {
		u.engine.keys[who] = u.accounts[who].localize(u.engine.id)
	}
	return u.engine.keys[who]
}

// signed checks the MAC of in, which covers the message with the MAC's own
// octets set to zero. It zeroes them.
func (u *unit) signed(s *session, in []byte, who int) bool {
	if len(s.e.mac) != u.accounts[who].digest.mac {
		return false
	}
	got := s.mac[:copy(s.mac[:], s.e.mac)]
	clear(s.e.mac)
	return hmac.Equal(got, s.sign(u.keysOf(who), in)[:len(got)])
}

func (s *session) sign(k *keys, message []byte) []byte {
	k.mac.Reset()
	k.mac.Write(message)
	s.sum = k.mac.Sum(s.sum[:0])
	return s.sum
}

// open leaves the request of a message in s, decrypting it in place.
func (u *unit) open(s *session, d *decoder, who int) bool {
	if s.e.level != authPriv {
		return s.decodeScoped(d)
	}
	cipher := d.content(tagOctets)
	if d.bad || len(d.rest) > 0 || len(s.e.salt) != saltOctets {
		return false
	}
	s.setIV(s.e.boots, s.e.time, s.e.salt)
	s.cfb.decrypt(u.keysOf(who).block, cipher)
	plain := decoder{rest: cipher}
	return s.decodeScoped(&plain)
}

// setIV is RFC 3826 section 3.1.2.1.
func (s *session) setIV(boots, t int32, salt []byte) {
	binary.BigEndian.PutUint32(s.cfb.iv[0:], uint32(boots))
	binary.BigEndian.PutUint32(s.cfb.iv[4:], uint32(t))
	copy(s.cfb.iv[8:], salt)
}

// addressed refuses a request that is for another engine or context.
func (s *session) addressed(engineID []byte) report {
	switch {
	case string(s.e.contextEngine) != string(engineID):
		return unknownHandler
	case len(s.e.context) > 0:
		return unknownContext
	}
	return accepted
}

// report counts a refusal, and answers with the counter if the sender wants
// to know. Only notInTimeWindows is signed, so that the sender may believe
// the time in it: RFC 3414 section 3.2 step 7.
func (u *unit) report(s *session, d *decoder, why report, who int, now time.Time) []byte {
	u.engine.counts[why]++
	if !s.e.wantsReport {
		return nil
	}
	var id int32
	if why >= unknownContext || s.e.level != authPriv && s.decodeScoped(d) {
		id = s.q.id
	}
	lvl := noAuthNoPriv
	switch {
	case why == notInWindow:
		lvl = authNoPriv
	case why >= unknownContext:
		lvl = s.e.level
	}
	return u.seal(s, who, lvl, now, func() bool {
		pdu, list := s.head(tagReport, id, noError, 0)
		pair := s.open(tagSequence)
		s.octets(tagOID, reportNames[why])
		s.unsigned(tagCounter32, uint64(u.engine.counts[why]))
		s.close(pair)
		s.close(list)
		s.close(pdu)
		return len(s.b) <= s.limit
	})
}

// seal wraps what body writes in a message at level lvl, encrypts and signs
// it. It returns nil when body found nothing to say.
func (u *unit) seal(s *session, who int, lvl level, now time.Time, body func() bool) []byte {
	engineTime := u.engine.time(now)
	message := s.open(tagSequence)
	mac := u.writeHead(s, who, lvl, engineTime)
	encrypted := 0
	if lvl == authPriv {
		encrypted = s.open(tagOctets)
	}
	scoped := s.open(tagSequence)
	s.octets(tagOctets, u.engine.id)
	s.octets(tagOctets, s.e.context)
	if !body() {
		return nil
	}
	s.close(scoped)
	if lvl == authPriv {
		s.close(encrypted)
		s.setIV(u.engine.boots, engineTime, u.engine.salt[:])
		s.cfb.encrypt(u.keysOf(who).block, s.b[encrypted:])
	}
	s.close(message)
	if lvl != noAuthNoPriv {
		copy(s.b[mac:mac+u.accounts[who].digest.mac], s.sign(u.keysOf(who), s.b))
	}
	return s.b
}

// writeHead writes an envelope with a MAC of zeros, and returns where it is.
func (u *unit) writeHead(s *session, who int, lvl level, engineTime int32) (mac int) {
	s.integer(version3)
	global := s.open(tagSequence)
	s.integer(int64(s.e.id))
	s.integer(maxMessage)
	s.octets(tagOctets, []byte{byte(lvl)})
	s.integer(securityUSM)
	s.close(global)
	outer := s.open(tagOctets)
	usm := s.open(tagSequence)
	s.octets(tagOctets, u.engine.id)
	s.integer(int64(u.engine.boots))
	s.integer(int64(engineTime))
	s.octets(tagOctets, s.e.user)
	blank, salt := s.mac[:0], u.engine.salt[:0]
	if lvl != noAuthNoPriv {
		blank = s.mac[:u.accounts[who].digest.mac]
		clear(blank)
	}
	if lvl == authPriv {
		salt = u.engine.nextSalt()
	}
	s.octets(tagOctets, blank)
	mac = len(s.b) - len(blank)
	s.octets(tagOctets, salt)
	s.close(usm)
	s.close(outer)
	return mac
}
