package agent

import (
	"encoding/binary"
	"strconv"
	"strings"
)

// Tags of SNMP in BER: RFC 3417 section 8, RFC 3416 section 3.
const (
	tagInteger    = 0x02
	tagOctets     = 0x04
	tagNull       = 0x05
	tagOID        = 0x06
	tagSequence   = 0x30
	tagCounter32  = 0x41
	tagGauge32    = 0x42
	tagTimeTicks  = 0x43
	tagOpaque     = 0x44
	tagCounter64  = 0x46
	tagNoObject   = 0x80
	tagNoInstance = 0x81
	tagEndOfView  = 0x82
	tagGet        = 0xa0
	tagGetNext    = 0xa1
	tagResponse   = 0xa2
	tagSet        = 0xa3
	tagGetBulk    = 0xa5
	tagReport     = 0xa8
)

const (
	maxSubIDs      = 128 // of a name: RFC 2578 section 3.5
	maxLengthField = 4   // octets; more never fits a datagram
)

// A decoder reads BER elements from the front of rest. The first fault makes
// it bad, empties it, and every later read returns zero values: callers check
// bad once, at the end. What it returns aliases the datagram.
type decoder struct {
	rest []byte
	bad  bool
}

func (d *decoder) fail() { d.rest, d.bad = nil, true }

func (d *decoder) element() (tag byte, content []byte) {
	if len(d.rest) < 2 || d.rest[0]&0x1f == 0x1f {
		d.fail()
		return 0, nil
	}
	tag = d.rest[0]
	n, head := uint64(d.rest[1]), 2
	if n >= 0x80 {
		octets := int(n & 0x7f)
		if octets == 0 || octets > maxLengthField || len(d.rest) < head+octets {
			d.fail()
			return 0, nil
		}
		n = 0
		for _, b := range d.rest[head : head+octets] {
			n = n<<8 | uint64(b)
		}
		head += octets
	}
	if n > uint64(len(d.rest)-head) {
		d.fail()
		return 0, nil
	}
	content, d.rest = d.rest[head:head+int(n)], d.rest[head+int(n):]
	return tag, content
}

func (d *decoder) content(tag byte) []byte {
	got, content := d.element()
	if got != tag {
		d.fail()
		return nil
	}
	return content
}

func (d *decoder) enter(tag byte) decoder {
	inner := decoder{rest: d.content(tag)}
	inner.bad = d.bad
	return inner
}

// integer reads an INTEGER, which SNMP limits to 32 bits.
func (d *decoder) integer() int32 {
	content := d.content(tagInteger)
	if len(content) < 1 || len(content) > 4 {
		d.fail()
		return 0
	}
	v := int32(int8(content[0]))
	for _, b := range content[1:] {
		v = v<<8 | int32(b)
	}
	return v
}

// appendSubIDs decodes the content of an OBJECT IDENTIFIER behind ids. It
// refuses empty, over-long and non-minimal encodings: those would give two
// spellings of one name.
func appendSubIDs(ids []uint32, content []byte) ([]uint32, bool) {
	start, fresh, v := len(ids), true, uint64(0)
	for _, b := range content {
		if fresh && b == 0x80 {
			return ids, false
		}
		v = v<<7 | uint64(b&0x7f)
		if fresh = b < 0x80; !fresh {
			if v > 1<<32>>7 {
				return ids, false
			}
			continue
		}
		if len(ids) == start {
			top := min(v/40, 2)
			ids, v = append(ids, uint32(top)), v-40*top
		}
		if v > 1<<32-1 || len(ids)-start >= maxSubIDs {
			return ids, false
		}
		ids, v = append(ids, uint32(v)), 0
	}
	return ids, fresh && len(ids) > start
}

// parseOID reads 1.3.6.1, with or without a leading dot.
func parseOID(s string) ([]uint32, bool) {
	parts := strings.Split(strings.TrimPrefix(s, "."), ".")
	if len(parts) < 2 || len(parts) > maxSubIDs {
		return nil, false
	}
	ids := make([]uint32, len(parts))
	for i, part := range parts {
		v, err := strconv.ParseUint(part, 10, 32)
		if err != nil {
			return nil, false
		}
		ids[i] = uint32(v)
	}
	return ids, ids[0] < 2 && ids[1] < 40 || ids[0] == 2
}

// encodeOID returns the content octets of a valid OBJECT IDENTIFIER.
func encodeOID(ids []uint32) []byte {
	out := appendSubID(nil, uint64(ids[0])*40+uint64(ids[1]))
	for _, id := range ids[2:] {
		out = appendSubID(out, uint64(id))
	}
	return out
}

func appendSubID(b []byte, v uint64) []byte {
	shift := 0
	for v>>shift >= 0x80 {
		shift += 7
	}
	for ; shift > 0; shift -= 7 {
		b = append(b, 0x80|byte(v>>shift))
	}
	return append(b, byte(v&0x7f))
}

// An encoder appends BER elements to a datagram under construction.
type encoder struct{ b []byte }

// open starts a constructed element and returns what close needs. Its length
// takes three octets always, which RFC 3417 section 8 permits, so that nothing
// written is ever moved.
func (e *encoder) open(tag byte) int {
	e.b = append(e.b, tag, 0x82, 0, 0)
	return len(e.b)
}

func (e *encoder) close(start int) {
	binary.BigEndian.PutUint16(e.b[start-2:], uint16(len(e.b)-start))
}

func (e *encoder) octets(tag byte, content []byte) {
	switch n := len(content); {
	case n < 0x80:
		e.b = append(e.b, tag, byte(n))
	case n < 0x100:
		e.b = append(e.b, tag, 0x81, byte(n))
	default:
		e.b = append(e.b, tag, 0x82, byte(n>>8), byte(n))
	}
	e.b = append(e.b, content...)
}

func (e *encoder) integer(v int64) {
	n := 1
	for ; n < 8 && v>>(8*n-1) != v>>63; n++ {
	}
	e.number(tagInteger, uint64(v), n)
}

func (e *encoder) unsigned(tag byte, v uint64) {
	n := 1
	for ; n < 9 && v>>(8*n-1) != 0; n++ {
	}
	e.number(tag, v, n)
}

func (e *encoder) number(tag byte, v uint64, n int) {
	e.b = append(e.b, tag, byte(n))
	for n--; n >= 0; n-- {
		e.b = append(e.b, byte(v>>(8*n)))
	}
}

func (e *encoder) empty(tag byte) { e.b = append(e.b, tag, 0) }
