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
	decode(q *collector.QuantityInfo, values []Value, sysUpTime uint32) Decoded
	encode(q *collector.QuantityInfo, value float64, quality collector.Quality, sysUpTime uint32) []Value
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
	var d Decoded
	own := values
	if p.stamped {
		own = values[:len(values)-1]
		var ok bool
		if d.Age, ok = age(values[len(values)-1], sysUpTime); !ok && p.MaxAge > 0 {
			return unavailable("the age of the value is unknown")
		}
	}
	d = p.judge(own, sysUpTime, d.Age)
	if d.Quality != collector.Good {
		d.Value = 0
	}
	return d
}

func (p Point) judge(own []Value, sysUpTime uint32, stamp time.Duration) Decoded {
	if own[0].Kind == Missing {
		return unavailable(absent)
	}
	if own[0].Kind == Null {
		return unavailable("the unit answers without a value")
	}
	d := p.codec.decode(p.info, own, sysUpTime)
	d.Age = max(d.Age, stamp)
	if d.Quality != collector.Good {
		return d
	}
	if p.MaxAge > 0 && d.Age > p.MaxAge {
		return Decoded{Quality: collector.Unavailable, Age: d.Age, Note: "the value is older than " + p.MaxAge.String()}
	}
	if !(d.Value >= p.info.Min && d.Value <= p.info.Max) { // NaN too
		return Decoded{Quality: collector.OutOfRange, Age: d.Age, Note: strconv.FormatFloat(d.Value, 'g', 6, 64) +
			" is outside " + strconv.FormatFloat(p.info.Min, 'g', -1, 64) + " to " + strconv.FormatFloat(p.info.Max, 'g', -1, 64) + " " + p.info.Unit}
	}
	return d
}

// Encode returns what a unit would answer for Objects so that Decode gives
// the value and quality back, as far as the encoding can say it; where it
// cannot, the values are Missing. Time stamps are sysUpTime: fresh. Give the
// sysUpTime of an earlier moment to make a stale value. Use Merge when points
// share an object.
func (p Point) Encode(value float64, quality collector.Quality, sysUpTime uint32) []Value {
	out := p.codec.encode(p.info, value, quality, sysUpTime)
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
	hundredths := sysUpTime - at
	if const1min := uint32(6000); -hundredths < const1min {
		return 0, true
	}
	return time.Duration(hundredths) * 10 * time.Millisecond, true
}
