package model

import (
	"slices"
	"strconv"
	"time"

	"lightwell/collector"
)

// Point says how one point is read. The zero Point cannot be used; points
// come from a loaded Model.
type Point struct {
	Point   collector.Point
	MaxAge  time.Duration // older values are unavailable; 0: any age will do
	info    *collector.QuantityInfo
	codec   codec
	objects []string
	stamped bool // the last object is the sysUpTime at which the value was taken
}

// codec is one encoding. It is given the values of its own objects; range and
// age are judged by Point, and values that are wholly missing never reach it.
type codec interface {
	decode(q *collector.QuantityInfo, values []Value) Decoded
	encode(q *collector.QuantityInfo, value float64, quality collector.Quality) []Value
}

// Objects returns the numeric object identifiers to ask for, without leading
// dot, in the order that Decode wants their values. Points may share objects.
func (p Point) Objects() []string { return slices.Clone(p.objects) }

// Decode says what the values of Objects mean. sysUpTime is the agent's, in
// hundredths of a second, from the same answer; it matters only to values
// that carry a time stamp. Decode allocates nothing for good numeric values.
func (p Point) Decode(values []Value, sysUpTime uint32) Decoded {
	if len(values) != len(p.objects) || len(values) == 0 {
		return unavailable(partial)
	}
	own, old := values, time.Duration(0)
	if p.stamped {
		own = values[:len(values)-1]
		var ok bool
		if old, ok = age(values[len(own)], sysUpTime); !ok && p.MaxAge > 0 {
			return unavailable("the age of the value is unknown")
		}
	}
	d := p.judge(own, old)
	d.Age = old
	if d.Quality != collector.Good {
		d.Value = 0
	}
	return d
}

func (p Point) judge(own []Value, old time.Duration) Decoded {
	switch own[0].Kind {
	case Missing:
		return unavailable(absent)
	case Null:
		return unavailable("the unit answers without a value")
	}
	d := p.codec.decode(p.info, own)
	switch q := p.info; {
	case d.Quality != collector.Good:
		return d
	case p.MaxAge > 0 && old > p.MaxAge:
		return unavailable("the value is older than " + p.MaxAge.String())
	case !(d.Value >= q.Min && d.Value <= q.Max): // NaN too
		return outOfRange(number(d.Value, 6) + " is outside " + number(q.Min, -1) + " to " + number(q.Max, -1) + " " + q.Unit)
	}
	return d
}

func number(x float64, digits int) string { return strconv.FormatFloat(x, 'g', digits, 64) }

// Encode returns what a unit would answer for Objects so that Decode gives
// the value and quality back, as far as the encoding can say it; where it
// cannot, the values are Missing. Time stamps are sysUpTime: fresh. Give the
// sysUpTime of an earlier moment to make a stale value. Use Merge when points
// share an object.
func (p Point) Encode(value float64, quality collector.Quality, sysUpTime uint32) []Value {
	out := p.codec.encode(p.info, value, quality)
	if out == nil {
		out = make([]Value, len(p.objects), len(p.objects)+1)
		if p.stamped {
			out = out[:len(out)-1]
		}
	}
	if p.stamped {
		out = append(out, Value{Kind: Unsigned, Uint: uint64(sysUpTime)})
	}
	return out
}

// age returns how old a value is that was taken at the time stamp, modulo
// 2^32 hundredths of a second (RFC 3433). A stamp less than a minute ahead is
// of a value that changed while the answer was being made: age 0.
func age(stamp Value, sysUpTime uint32) (time.Duration, bool) {
	var at uint32
	switch stamp.Kind {
	case Unsigned:
		at = uint32(stamp.Uint)
	case Integer:
		at = uint32(stamp.Int)
	default:
		return 0, false
	}
	const minute = 6000
	hundredths := sysUpTime - at
	if at-sysUpTime < minute {
		return 0, true
	}
	return time.Duration(hundredths) * 10 * time.Millisecond, true
}
