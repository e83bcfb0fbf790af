package agent

import (
	"math"

	"lightwell/collector/model"
)

// Error statuses: RFC 3416 section 3; noSuchName is also all that version 1
// has for a refused SET (RFC 3584 section 4.4).
const (
	noError            = 0
	tooBig             = 1
	noSuchName         = 2
	authorizationError = 16
	notWritable        = 17
)

// A session is the scratch space of one exchange. It is reused, so that a
// steady exchange allocates nothing here.
type session struct {
	encoder
	limit   int // octets that the reply may have
	version int
	view    *view
	e       envelope
	q       request
	ids     []uint32
	binds   []bind
	repeat  []repeater
	cfb     cfb128
	mac     [maxMACOctets]byte
	sum     []byte
}

// A repeater is a variable of GETBULK that is asked for again and again.
type repeater struct {
	name []byte // of the last variable given, or of the request
	next int    // entry to give next
}

func (s *session) nameOf(b bind) []uint32 { return s.ids[b.from:b.to] }

// writePDU writes the response to s.q, or writes nothing and returns false
// when there is none to give.
func (s *session) writePDU(refusal int) bool {
	switch {
	case s.q.kind == tagSet && refusal == noError:
		refusal = notWritable
	case s.q.kind != tagGet && s.q.kind != tagGetNext && s.q.kind != tagSet && (s.q.kind != tagGetBulk || s.version == version1):
		return false
	}
	start, index := len(s.b), 0
	if refusal == noError {
		refusal, index = s.writeValues()
		if refusal == noError {
			return true
		}
	} else if refusal == notWritable {
		index = min(1, len(s.binds))
	}
	s.b = s.b[:start]
	if s.version == version1 && refusal > noSuchName {
		refusal = noSuchName
	}
	s.writeRefusal(refusal, index)
	return len(s.b) <= s.limit
}

func (s *session) head(tag byte, id int32, status, index int) (pdu, list int) {
	pdu = s.open(tag)
	s.integer(int64(id))
	s.integer(int64(status))
	s.integer(int64(index))
	return pdu, s.open(tagSequence)
}

// writeRefusal sends the variables back as they came, except that tooBig has
// none after version 1: RFC 3416 section 4.2.1, RFC 1157 section 4.1.2.
func (s *session) writeRefusal(status, index int) {
	pdu, list := s.head(tagResponse, s.q.id, status, index)
	if status != tooBig || s.version == version1 {
		s.b = append(s.b, s.q.list...)
	}
	s.close(list)
	s.close(pdu)
}

func (s *session) writeValues() (status, index int) {
	pdu, list := s.head(tagResponse, s.q.id, noError, 0)
	if s.q.kind == tagGetBulk {
		status = s.bulk()
	} else {
		status, index = s.each()
	}
	s.close(list)
	s.close(pdu)
	return status, index
}

// each answers GET and GETNEXT: one value for each name.
func (s *session) each() (status, index int) {
	for i, b := range s.binds {
		exception := s.one(b, s.q.kind == tagGet)
		if exception && s.version == version1 {
			return noSuchName, i + 1
		}
		if len(s.b) > s.limit {
			return tooBig, 0
		}
	}
	return noError, 0
}

// one writes the value of b, or of its successor, and tells whether it
// had to write an exception instead.
func (s *session) one(b bind, exact bool) (exception bool) {
	ids := s.nameOf(b)
	if !exact {
		at := s.view.after(ids, s.version)
		s.successor(b.name, at)
		return at == len(s.view.entries)
	}
	at, found := s.view.search(ids)
	if found && s.view.shown(at, s.version) {
		s.variable(at)
		return false
	}
	tag := byte(tagNoInstance)
	if !found {
		tag = s.view.absent(ids)
	}
	s.exception(b.name, tag)
	return true
}

// bulk answers GETBULK (RFC 3416 section 4.2.3). A reply that would be too
// large ends with the last variable that fits.
func (s *session) bulk() (status int) {
	fixed := min(len(s.binds), int(max(s.q.a, 0)))
	s.repeat = s.repeat[:0]
	for i, b := range s.binds {
		r := repeater{b.name, s.view.after(s.nameOf(b), s.version)}
		if i >= fixed {
			s.repeat = append(s.repeat, r)
		} else if !s.fits(r) {
			return tooBigIf(i == 0)
		}
	}
	for row := int32(0); row < s.q.b && len(s.repeat) > 0; row++ {
		over := true
		for i := range s.repeat {
			r := &s.repeat[i]
			if !s.fits(*r) {
				return tooBigIf(fixed == 0 && row == 0 && i == 0)
			}
			if r.next < len(s.view.entries) {
				over, r.name = false, s.view.entries[r.next].name
				r.next = s.view.visible(r.next+1, s.version)
			}
		}
		if over {
			break
		}
	}
	return noError
}

// tooBigIf: a reply that could not hold even its first variable.
func tooBigIf(none bool) (status int) {
	if none {
		return tooBig
	}
	return noError
}

func (s *session) fits(r repeater) bool {
	before := len(s.b)
	s.successor(r.name, r.next)
	if len(s.b) <= s.limit {
		return true
	}
	s.b = s.b[:before]
	return false
}

func (s *session) successor(name []byte, at int) {
	if at == len(s.view.entries) {
		s.exception(name, tagEndOfView)
		return
	}
	s.variable(at)
}

func (s *session) exception(name []byte, tag byte) {
	pair := s.open(tagSequence)
	s.octets(tagOID, name)
	s.empty(tag)
	s.close(pair)
}

func (s *session) variable(at int) {
	e := &s.view.entries[at]
	pair := s.open(tagSequence)
	s.octets(tagOID, e.name)
	s.value(&s.view.objects[e.at].Value, e.ticks)
	s.close(pair)
}

// wireTag returns the tag that a value goes out with, TimeTicks apart.
func wireTag(v *model.Value) byte {
	switch v.Kind {
	case model.Integer:
		return tagInteger
	case model.Unsigned:
		if v.Uint > math.MaxUint32 {
			return tagCounter64
		}
		return tagGauge32
	case model.Float:
		return tagOpaque
	case model.Bytes:
		return tagOctets
	case model.Object:
		return tagOID
	}
	return tagNull
}

func (s *session) value(v *model.Value, asTicks bool) {
	if n, ok := ticks(v); asTicks && ok {
		s.unsigned(tagTimeTicks, n&math.MaxUint32)
		return
	}
	switch tag := wireTag(v); tag {
	case tagInteger:
		s.integer(v.Int)
	case tagGauge32, tagCounter64:
		s.unsigned(tag, v.Uint)
	case tagOpaque:
		s.float(float32(v.Float))
	case tagOctets:
		s.octets(tagOctets, v.Bytes)
	case tagOID:
		if ids, ok := parseOID(v.OID); ok {
			s.octets(tagOID, encodeOID(ids))
			return
		}
		s.octets(tagOID, []byte{0}) // zeroDotZero: RFC 2578
	default:
		s.empty(tagNull)
	}
}

// float writes an Opaque that holds a float, the form common to agents:
// tag 0x9f 0x78, four octets of IEEE 754 (draft-perkins-opaque-01).
func (s *session) float(f float32) {
	bits := math.Float32bits(f)
	s.octets(tagOpaque, []byte{0x9f, 0x78, 4, byte(bits >> 24), byte(bits >> 16), byte(bits >> 8), byte(bits)})
}
