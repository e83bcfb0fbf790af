package model

import (
	"encoding/hex"
	"math"
	"strconv"
	"unicode"
	"unicode/utf8"
)

// Kind is the kind of a raw value.
type Kind uint8

// Kinds. The zero Value is Missing.
const (
	Missing  Kind = iota // no such object or instance
	Null                 // answered without a value
	Integer              // Int
	Unsigned             // Uint: counters, gauges, time ticks
	Float                // Float
	Bytes                // Bytes: octets, text or BITS
	Object               // OID
)

// Value is a raw value as an agent gives it. Only the field of its Kind means
// something. A Value does not own its Bytes.
type Value struct {
	Kind  Kind
	Int   int64
	Uint  uint64
	Float float64
	Bytes []byte
	OID   string // without leading dot
}

// String returns the value for people: printable octets in quotes, others in
// hexadecimal, "missing" and "null" in words.
func (v Value) String() string {
	switch v.Kind {
	case Null:
		return "null"
	case Integer:
		return strconv.FormatInt(v.Int, 10)
	case Unsigned:
		return strconv.FormatUint(v.Uint, 10)
	case Float:
		return strconv.FormatFloat(v.Float, 'g', -1, 64)
	case Bytes:
		if printable(v.Bytes) {
			return strconv.Quote(string(v.Bytes))
		}
		return "0x" + hex.EncodeToString(v.Bytes)
	case Object:
		return v.OID
	default:
		return "missing"
	}
}

func printable(b []byte) bool {
	if !utf8.Valid(b) {
		return false
	}
	for _, r := range string(b) {
		if !unicode.IsPrint(r) {
			return false
		}
	}
	return true
}

// number returns the value as a number, and false when it is none.
func (v Value) number() (float64, bool) {
	switch v.Kind {
	case Integer:
		return float64(v.Int), true
	case Unsigned:
		return float64(v.Uint), true
	case Float:
		return v.Float, true
	default:
		return 0, false
	}
}

// integer returns a whole raw number as the kind that holds it.
func integer(x float64) Value {
	switch x = math.Round(x); {
	case math.IsNaN(x):
		return Value{}
	case x > math.MaxInt32:
		return Value{Kind: Unsigned, Uint: uint64(min(x, math.MaxUint32))}
	default:
		return Value{Kind: Integer, Int: int64(max(x, math.MinInt32))}
	}
}

// Merge combines what two points encode for the same object: octets are
// united bit by bit, so that points can share a page or a bit string; of other
// kinds the last wins.
func Merge(a, b Value) Value {
	if a.Kind != Bytes || b.Kind != Bytes {
		if b.Kind == Missing {
			return a
		}
		return b
	}
	out := make([]byte, max(len(a.Bytes), len(b.Bytes)))
	copy(out, a.Bytes)
	for i, octet := range b.Bytes {
		out[i] |= octet
	}
	return Value{Kind: Bytes, Bytes: out}
}
