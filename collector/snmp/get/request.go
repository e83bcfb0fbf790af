// Package get encodes a GET once and decodes its ordinary answers: what a unit
// is asked for every half minute does not change.
//
// It guarantees that Read takes nothing but an answer without error to exactly
// the objects asked for, in their order, encoded as RFC 3417 section 8 has it,
// with values that can be true. On anything else it says no and leaves the
// judgement to a decoder for every case. It allocates for octet strings and
// object identifiers only, and no input makes it panic. What it reads comes
// from the network.
package get

import (
	"encoding/binary"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"lightwell/collector/model"
	"lightwell/collector/snmp/ber"
)

// An Answer is what came of one object.
type Answer struct {
	Value model.Value
	Note  string // why there is no value, or what is odd about it
}

// A Request is a GET of fixed objects. It does not change.
type Request struct {
	objects []string
	names   []byte // the encoded object identifiers, one after the other
	ends    []int  // where each ends in names
	pdu     []byte
}

// The request id's content lies behind the PDU's tag and length and its own.
const idOctets = 4

// New encodes a GET of objects in dotted form without leading dot.
func New(objects []string) (*Request, error) {
	r := &Request{objects: objects}
	var list []byte
	for _, o := range objects {
		name, err := encode(o)
		if err != nil {
			return nil, err
		}
		element := ber.AppendOctets(nil, ber.ObjectID, name)
		r.names = append(r.names, element...)
		r.ends = append(r.ends, len(r.names))
		list = ber.Append(list, ber.Sequence, element, []byte{ber.Null, 0})
	}
	head := []byte{ber.Integer, idOctets, 0x40, 0, 0, 0, ber.Integer, 1, 0, ber.Integer, 1, 0}
	r.pdu = ber.Append(nil, ber.GetRequest, head, ber.Append(nil, ber.Sequence, list))
	return r, nil
}

// Objects returns what the request asks for. The caller must not change it.
func (r *Request) Objects() []string { return r.objects }

// SmallestID is the smallest request id of four octets.
const SmallestID = 1 << 24

// Append appends the PDU with that request id, at least SmallestID.
func (r *Request) Append(dst []byte, id int32) []byte {
	at := len(dst) + 2
	if octets := r.pdu[1]; octets >= 0x80 {
		at += int(octets & 0x7f)
	}
	dst = append(dst, r.pdu...)
	binary.BigEndian.PutUint32(dst[at+2:], uint32(id))
	return dst
}

// encode returns the content octets of an object identifier (X.690 8.19).
func encode(object string) ([]byte, error) {
	var arcs []uint64
	for part := range strings.SplitSeq(object, ".") {
		arc, err := strconv.ParseUint(part, 10, 32)
		if err != nil {
			return nil, fmt.Errorf("object %q: %w", object, errors.Unwrap(err))
		}
		arcs = append(arcs, arc)
	}
	if len(arcs) < 2 || len(arcs) > 128 || arcs[0] > 2 || arcs[0] < 2 && arcs[1] >= 40 {
		return nil, fmt.Errorf("object %q is no object identifier", object)
	}
	out := base128(nil, arcs[0]*40+arcs[1])
	for _, arc := range arcs[2:] {
		out = base128(out, arc)
	}
	return out, nil
}

func base128(dst []byte, arc uint64) []byte {
	shift := 0
	for arc>>shift >= 0x80 {
		shift += 7
	}
	for ; shift > 0; shift -= 7 {
		dst = append(dst, byte(arc>>shift)|0x80)
	}
	return append(dst, byte(arc)&0x7f)
}
