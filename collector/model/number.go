package model

import (
	"encoding/binary"
	"math"
	"strconv"
	"strings"

	"lightwell/collector"
)

// literal is a raw value as it stands in a model file.
type literal struct {
	text    string
	number  float64
	numeric bool
}

func parseLiteral(s string) literal {
	x, err := strconv.ParseFloat(s, 64)
	return literal{s, x, err == nil}
}

// is tells whether a raw value is the literal. Text is compared without case
// and outer blanks.
func (l literal) is(v Value) bool {
	if v.Kind == Bytes {
		return strings.EqualFold(strings.TrimSpace(string(v.Bytes)), l.text)
	}
	x, ok := v.number()
	return ok && l.numeric && x == l.number
}

// value returns the literal as a raw value of the form.
func (l literal) value(f form) Value {
	switch {
	case f == asText || !l.numeric:
		return Value{Kind: Bytes, Bytes: []byte(l.text)}
	case f == asFloat:
		return Value{Kind: Float, Float: l.number}
	default:
		return integer(l.number)
	}
}

// form is how a number is carried.
type form uint8

const (
	asInteger form = iota
	asFloat
	asText
)

// numberCodec decodes numbers: integer, float and text.
type numberCodec struct {
	form                         form
	scale                        linear     // raw number to a number in the unit
	unit                         conversion // from there to the quantity's own
	whole                        conversion // both together
	unitName                     string
	noLight, unavailable, broken *literal // raw values with a meaning of their own; nil: none
}

func (c *numberCodec) decode(q *collector.QuantityInfo, values []Value) Decoded {
	v := values[0]
	switch {
	case c.noLight != nil && c.noLight.is(v):
		return dark(q)
	case c.unavailable != nil && c.unavailable.is(v):
		return unavailable("the unit says that it has no value")
	case c.broken != nil && c.broken.is(v):
		return broken("the unit says that its sensor is broken")
	}
	x, ok := v.number()
	whole := c.whole
	switch {
	case ok:
	case v.Kind == Bytes && c.form == asFloat:
		x, ok = ieee(v.Bytes)
	case v.Kind == Bytes && c.form == asText:
		x, whole, ok = c.parse(q, v.Bytes)
	}
	if !ok {
		return outOfRange("not a number: " + v.String())
	}
	return whole.convert(x, q)
}

// ieee reads octets as IEEE 754, big-endian, bare or in the Opaque wrapping
// (tags 9f78 and 9f79) that agents use for SMI, which has no float.
func ieee(b []byte) (float64, bool) {
	switch {
	case len(b) == 7 && b[0] == 0x9f && b[1] == 0x78 && b[2] == 4, len(b) == 11 && b[0] == 0x9f && b[1] == 0x79 && b[2] == 8:
		b = b[3:]
	}
	switch len(b) {
	case 4:
		return float64(math.Float32frombits(binary.BigEndian.Uint32(b))), true
	case 8:
		return math.Float64frombits(binary.BigEndian.Uint64(b)), true
	default:
		return 0, false
	}
}

// parse reads a number, and the unit behind it if there is one, which then
// counts instead of the model's.
func (c *numberCodec) parse(q *collector.QuantityInfo, b []byte) (float64, conversion, bool) {
	if len(b) > 64 {
		return 0, conversion{}, false
	}
	s := strings.TrimSpace(strings.TrimRight(string(b), "\x00"))
	end := strings.IndexFunc(s, func(r rune) bool { return !strings.ContainsRune("+-.0123456789", r) })
	if end < 0 {
		end = len(s)
	}
	if end+1 < len(s) && (s[end] == 'e' || s[end] == 'E') && strings.ContainsRune("+-0123456789", rune(s[end+1])) {
		for end++; end < len(s) && strings.ContainsRune("+-0123456789", rune(s[end])); end++ {
		}
	}
	x, err := strconv.ParseFloat(s[:end], 64)
	if err != nil {
		return 0, conversion{}, false
	}
	name := strings.TrimSpace(s[end:])
	if name == "" {
		return x, c.whole, true
	}
	unit, ok := unitOf(q, name)
	return x, conversion{c.scale.then(unit.linear), unit.power}, ok
}

func (c *numberCodec) encode(q *collector.QuantityInfo, value float64, quality collector.Quality) []Value {
	switch {
	case quality == collector.Broken && c.broken != nil:
		return []Value{c.broken.value(c.form)}
	case quality == collector.Unavailable && c.unavailable != nil:
		return []Value{c.unavailable.value(c.form)}
	case quality == collector.Broken || quality == collector.Unavailable || math.IsNaN(value):
		return nil
	case c.noLight != nil && value <= q.Min:
		return []Value{c.noLight.value(c.form)}
	}
	raw := c.scale.invert(c.unit.raw(value, q))
	switch {
	case c.form == asFloat:
		return []Value{{Kind: Float, Float: raw}}
	case c.form == asText:
		digits := q.Decimals + 1
		if c.unit.power {
			digits = 6
		}
		return []Value{{Kind: Bytes, Bytes: []byte(strings.TrimSpace(strconv.FormatFloat(raw, 'f', digits, 64) + " " + c.unitName))}}
	case q.Quantity == collector.Uptime:
		return []Value{{Kind: Unsigned, Uint: uint64(min(max(math.Round(raw), 0), math.MaxUint32))}}
	default:
		return []Value{integer(raw)}
	}
}
