// Package ber reads and writes the few forms of the Basic Encoding Rules that
// SNMP messages are made of (RFC 3417 section 8): definite lengths, tags of
// one octet.
//
// It guarantees that no input makes it panic, loop or allocate, and that an
// element never reaches beyond the element around it. The octets it reads
// come from the network and are trusted in nothing.
package ber

import (
	"errors"
	"fmt"
)

// Tags of SNMP messages (RFC 3416 section 3, RFC 2578 7.1).
const (
	Integer        = 0x02
	OctetString    = 0x04
	Null           = 0x05
	ObjectID       = 0x06
	Sequence       = 0x30
	Counter32      = 0x41
	Gauge32        = 0x42
	TimeTicks      = 0x43
	Opaque         = 0x44
	Counter64      = 0x46
	Unsigned32     = 0x47 // of RFC 1442, no longer in use
	NoSuchObject   = 0x80
	NoSuchInstance = 0x81
	EndOfMibView   = 0x82
	GetRequest     = 0xa0
	Response       = 0xa2
	TrapV1         = 0xa4
	Inform         = 0xa6
	TrapV2         = 0xa7
	Report         = 0xa8
)

// Faults of an encoding.
var (
	ErrTruncated = errors.New("element is cut short")
	ErrLength    = errors.New("length in a form that is not allowed")
	ErrInteger   = errors.New("integer beyond 32 bits")
	ErrTrailing  = errors.New("octets after the last element")
)

// A Reader takes elements off the front of a slice. The first fault stays:
// every later read returns nothing, and Err tells what it was, so a caller
// reads all it wants and asks once.
type Reader struct {
	rest []byte
	err  error
}

// NewReader returns a Reader over b. What it returns aliases b.
func NewReader(b []byte) *Reader { return &Reader{rest: b} }

// Err returns the first fault, nil when there was none.
func (r *Reader) Err() error { return r.err }

// Rest returns what has not been read yet.
func (r *Reader) Rest() []byte { return r.rest }

// End returns the first fault; octets that are left over are one.
func (r *Reader) End() error {
	if r.err == nil && len(r.rest) > 0 {
		r.err = ErrTrailing
	}
	return r.err
}

// Any reads the next element, whatever it is.
func (r *Reader) Any() (tag byte, content []byte) {
	if r.err != nil {
		return 0, nil
	}
	tag, head, size, err := header(r.rest)
	if err != nil {
		r.err = err
		return 0, nil
	}
	content, r.rest = r.rest[head:head+size], r.rest[head+size:]
	return tag, content
}

// Element reads the next element, which must have that tag.
func (r *Reader) Element(tag byte) []byte {
	got, content := r.Any()
	if r.err == nil && got != tag {
		r.err = fmt.Errorf("element has tag %#02x instead of %#02x", got, tag)
	}
	if r.err != nil {
		return nil
	}
	return content
}

// Into reads the next element, which must have that tag, and returns a Reader
// over its content. A fault is a fault of the new Reader too.
func (r *Reader) Into(tag byte) *Reader {
	content := r.Element(tag)
	return &Reader{rest: content, err: r.err}
}

// Int32 reads an INTEGER of at most 32 bits. Leading octets that only repeat
// the sign are accepted, as careless encoders send them.
func (r *Reader) Int32() int32 {
	content := r.Element(Integer)
	if r.err != nil {
		return 0
	}
	if len(content) == 0 || len(content) > 8 {
		r.err = ErrInteger
		return 0
	}
	v := int64(int8(content[0]))
	for _, b := range content[1:] {
		v = v<<8 | int64(b)
	}
	if v != int64(int32(v)) {
		r.err = ErrInteger
		return 0
	}
	return int32(v)
}

// header reads tag and length at the front of b; the whole element is there.
func header(b []byte) (tag byte, head, size int, err error) {
	if len(b) < 2 {
		return 0, 0, 0, ErrTruncated
	}
	head, size = 2, int(b[1])
	if size >= 0x80 {
		octets := size & 0x7f
		if octets == 0 || octets > 4 {
			return 0, 0, 0, ErrLength
		}
		if head += octets; len(b) < head {
			return 0, 0, 0, ErrTruncated
		}
		size = 0
		for _, o := range b[2:head] {
			size = size<<8 | int(o)
		}
	}
	if size < 0 || size > len(b)-head {
		return 0, 0, 0, ErrTruncated
	}
	return b[0], head, size, nil
}

const maxDepth = 8

// Whole tells whether b is exactly one element, and every constructed element
// in it is filled exactly by whole elements.
func Whole(b []byte) bool {
	r := NewReader(b)
	return whole(r, maxDepth) && r.End() == nil
}

func whole(r *Reader, depth int) bool {
	tag, content := r.Any()
	if r.err != nil || depth == 0 {
		return false
	}
	const constructed = 0x20
	if tag&constructed == 0 {
		return true
	}
	for inner := NewReader(content); len(inner.rest) > 0; {
		if !whole(inner, depth-1) {
			return false
		}
	}
	return true
}

// Append appends an element whose content is the parts one after the other.
func Append(dst []byte, tag byte, parts ...[]byte) []byte {
	size := 0
	for _, p := range parts {
		size += len(p)
	}
	dst = appendLength(append(dst, tag), size)
	for _, p := range parts {
		dst = append(dst, p...)
	}
	return dst
}

// AppendOctets appends an element whose content is given.
func AppendOctets[T []byte | string](dst []byte, tag byte, content T) []byte {
	return append(appendLength(append(dst, tag), len(content)), content...)
}

// Open begins an element whose content is appended next, and Close ends it.
func Open(dst []byte, tag byte) []byte { return append(dst, tag, 0x82, 0, 0) }

// Close ends the element that Open began at that place of b: it writes the
// length in its shortest form, for which the content may move. The content has
// less than 64 KiB.
func Close(b []byte, at int) []byte {
	const opened = 4
	size := len(b) - at - opened
	head := appendLength(b[at+1:at+1], size)
	if size >= 0x100 {
		return b
	}
	copy(b[at+1+len(head):], b[at+opened:])
	return b[:at+1+len(head)+size]
}

// AppendInt32 appends an INTEGER in its shortest form.
func AppendInt32(dst []byte, v int32) []byte {
	octets := 1
	for octets < 4 && v>>(8*octets-1) != 0 && v>>(8*octets-1) != -1 {
		octets++
	}
	dst = append(dst, Integer, byte(octets))
	for i := octets - 1; i >= 0; i-- {
		dst = append(dst, byte(v>>(8*i)))
	}
	return dst
}

func appendLength(dst []byte, n int) []byte {
	switch {
	case n < 0x80:
		return append(dst, byte(n))
	case n < 0x100:
		return append(dst, 0x81, byte(n))
	case n < 0x10000:
		return append(dst, 0x82, byte(n>>8), byte(n))
	}
	return append(dst, 0x84, byte(n>>24), byte(n>>16), byte(n>>8), byte(n))
}
