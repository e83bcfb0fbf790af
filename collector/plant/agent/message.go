package agent

// Protocol versions as they stand in a message.
const (
	version1  = 0
	version2c = 1
	version3  = 3
)

const (
	securityUSM  = 3   // msgSecurityModel of USM: RFC 3411 section 5
	minMessage   = 484 // least msgMaxSize: RFC 3412 section 6
	maxEngineID  = 32
	maxUserName  = 32
	maxMACOctets = 48
	saltOctets   = 8
	flagOctets   = 1
	invalidLevel = 2 // privacy without authentication: RFC 3412 section 7.2
	levelMask    = 3
)

// A bind is one variable of a request. Its name is ids[from:to] of the session.
type bind struct {
	from, to int
	name     []byte // in BER
}

// A request is a decoded PDU. For GETBULK, a is non-repeaters and b is
// max-repetitions.
type request struct {
	kind byte
	id   int32
	a, b int32
	list []byte // content of the variable bindings, to send back with an error
}

// decodePDU reads a PDU that ends d, and leaves the names of its variables in
// s.ids and s.binds.
func (s *session) decodePDU(d *decoder) bool {
	tag, content := d.element()
	p := decoder{rest: content, bad: d.bad || len(d.rest) > 0}
	s.q = request{kind: tag, id: p.integer(), a: p.integer(), b: p.integer()}
	s.q.list = p.content(tagSequence)
	s.ids, s.binds = s.ids[:0], s.binds[:0]
	for list := (decoder{rest: s.q.list, bad: p.bad || len(p.rest) > 0}); !list.bad; {
		if len(list.rest) == 0 {
			return true
		}
		pair := list.enter(tagSequence)
		name := pair.content(tagOID)
		pair.element()
		from := len(s.ids)
		var ok bool
		if s.ids, ok = appendSubIDs(s.ids, name); !ok || pair.bad || len(pair.rest) > 0 {
			return false
		}
		s.binds = append(s.binds, bind{from, len(s.ids), name})
	}
	return false
}

// An envelope is what surrounds the scoped PDU of a version 3 message:
// RFC 3412 section 6 and RFC 3414 section 2.4.
type envelope struct {
	id            int32
	maxSize       int32
	level         level
	wantsReport   bool
	engineID      []byte
	boots, time   int32
	user          []byte
	mac           []byte
	salt          []byte
	contextEngine []byte
	context       []byte
}

// decodeEnvelope reads a message up to its scoped PDU, at which it leaves d.
func decodeEnvelope(d *decoder) (e envelope, ok bool) {
	global := d.enter(tagSequence)
	e.id, e.maxSize = global.integer(), global.integer()
	flags, model := global.content(tagOctets), global.integer()
	outer := d.enter(tagOctets)
	usm := outer.enter(tagSequence)
	e.engineID = usm.content(tagOctets)
	e.boots, e.time = usm.integer(), usm.integer()
	e.user, e.mac, e.salt = usm.content(tagOctets), usm.content(tagOctets), usm.content(tagOctets)
	if d.bad || global.bad || usm.bad || len(global.rest)+len(outer.rest)+len(usm.rest) > 0 || len(flags) != flagOctets {
		return envelope{}, false
	}
	e.level, e.wantsReport = level(flags[0]&levelMask), flags[0]&reportable != 0
	return e, e.id >= 0 && e.maxSize >= minMessage && model == securityUSM && e.level != invalidLevel &&
		e.boots >= 0 && e.time >= 0 && len(e.engineID) <= maxEngineID && len(e.user) <= maxUserName && len(e.mac) <= maxMACOctets
}

// decodeScoped reads a plain scoped PDU.
func (s *session) decodeScoped(d *decoder) bool {
	scoped := d.enter(tagSequence)
	s.e.contextEngine, s.e.context = scoped.content(tagOctets), scoped.content(tagOctets)
	return !d.bad && len(d.rest) == 0 && s.decodePDU(&scoped)
}
