package get

import (
	"bytes"
	"encoding/binary"
	"math"

	"lightwell/collector/model"
	"lightwell/collector/snmp/ber"
)

// Read takes the values of an ordinary answer into into: the value of object i
// at place at[i]. It returns false when the PDU, one element, is anything else
// than the answer without error to the request of that id; into may then hold a
// part of the values.
func (r *Request) Read(pdu []byte, id int32, into []Answer, at []int) bool {
	list, ok := r.head(pdu, id)
	if !ok {
		return false
	}
	begin := 0
	for i, end := range r.ends {
		field, rest, ok := element(list, ber.Sequence)
		if !ok || !bytes.HasPrefix(field, r.names[begin:end]) {
			return false
		}
		if !read(field[end-begin:], &into[at[i]]) {
			return false
		}
		list, begin = rest, end
	}
	return len(list) == 0
}

var noError = []byte{ber.Integer, 1, 0, ber.Integer, 1, 0}

// head checks all that stands before the list of variables, and returns it.
func (r *Request) head(pdu []byte, id int32) (list []byte, ok bool) {
	b, rest, ok := element(pdu, ber.Response)
	if !ok || len(rest) > 0 {
		return nil, false
	}
	got, b, ok := element(b, ber.Integer)
	if !ok || len(got) != idOctets || binary.BigEndian.Uint32(got) != uint32(id) || !bytes.HasPrefix(b, noError) {
		return nil, false
	}
	list, rest, ok = element(b[len(noError):], ber.Sequence)
	return list, ok && len(rest) == 0
}

// element takes an element of that tag off the front of b.
func element(b []byte, tag byte) (content, rest []byte, ok bool) {
	if len(b) < 2 || b[0] != tag {
		return nil, nil, false
	}
	from, size := 2, int(b[1])
	switch {
	case size < 0x80:
	case size == 0x81 && len(b) > 2:
		from, size = 3, int(b[2])
	case size == 0x82 && len(b) > 3:
		from, size = 4, int(b[2])<<8|int(b[3])
	default:
		return nil, nil, false
	}
	if size > len(b)-from {
		return nil, nil, false
	}
	return b[from : from+size], b[from+size:], true
}

// read reads one value, which fills b.
func read(b []byte, into *Answer) bool {
	if len(b) == 0 {
		return false
	}
	content, rest, ok := element(b, b[0])
	if !ok || len(rest) > 0 {
		return false
	}
	switch b[0] {
	case ber.Integer:
		return integer(content, into)
	case ber.Counter32, ber.Gauge32, ber.TimeTicks, ber.Unsigned32:
		return unsigned(content, 4, into)
	case ber.Counter64:
		return unsigned(content, 8, into)
	case ber.OctetString:
		*into = Answer{Value: model.Value{Kind: model.Bytes, Bytes: append([]byte{}, content...)}}
		return true
	case ber.Opaque:
		return opaque(content, into)
	}
	return nothing(b[0], content, into)
}

func integer(content []byte, into *Answer) bool {
	if len(content) == 0 || len(content) > 4 {
		return false
	}
	v := int64(int8(content[0]))
	for _, o := range content[1:] {
		v = v<<8 | int64(o)
	}
	*into = Answer{Value: model.Value{Kind: model.Integer, Int: v}}
	return true
}

func unsigned(content []byte, most int, into *Answer) bool {
	if len(content) == most+1 && content[0] == 0 {
		content = content[1:]
	}
	if len(content) == 0 || len(content) > most {
		return false
	}
	v := uint64(0)
	for _, o := range content {
		v = v<<8 | uint64(o)
	}
	*into = Answer{Value: model.Value{Kind: model.Unsigned, Uint: v}}
	return true
}

// opaque reads a float in the wrapping that agents use by common practice:
// 9f 78 and four octets, 9f 79 and eight.
func opaque(content []byte, into *Answer) bool {
	var x float64
	switch {
	case len(content) == 7 && content[0] == 0x9f && content[1] == 0x78 && content[2] == 4:
		x = float64(math.Float32frombits(binary.BigEndian.Uint32(content[3:])))
	case len(content) == 11 && content[0] == 0x9f && content[1] == 0x79 && content[2] == 8:
		x = math.Float64frombits(binary.BigEndian.Uint64(content[3:]))
	default:
		return false
	}
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return false
	}
	*into = Answer{Value: model.Value{Kind: model.Float, Float: x}}
	return true
}

// Notes of an object that came without a value.
const (
	NoObject   = "the unit has no such object"
	NoInstance = "the unit has no such instance"
	EndOfView  = "the unit says end of view"
	IsNull     = "the unit sent null"
)

func nothing(tag byte, content []byte, into *Answer) bool {
	switch tag {
	case ber.NoSuchObject:
		*into = Answer{Note: NoObject}
	case ber.NoSuchInstance:
		*into = Answer{Note: NoInstance}
	case ber.EndOfMibView:
		*into = Answer{Note: EndOfView}
	case ber.Null:
		*into = Answer{Value: model.Value{Kind: model.Null}, Note: IsNull}
	default:
		return false
	}
	return len(content) == 0
}
