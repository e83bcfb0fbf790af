package model

import (
	"cmp"
	"slices"
	"strings"

	"lightwell/collector"
)

// outcome is what a raw state means: a state of the quantity, or that there is
// none.
type outcome struct {
	value   float64
	quality collector.Quality
}

func (o outcome) decoded() Decoded {
	switch o.quality {
	case collector.Unavailable:
		return unavailable("the unit says that it has no value")
	case collector.Broken:
		return broken("the unit says that its sensor is broken")
	default:
		return Decoded{Value: o.value}
	}
}

func (o outcome) is(value float64, quality collector.Quality) bool {
	return o.quality == quality && (quality != collector.Good || o.value == value)
}

// stateCodec decodes enumerations: numbers or words.
type stateCodec struct {
	form  form
	table []stateRow // numbers rising, then words
}

type stateRow struct {
	raw literal
	outcome
}

func newStateCodec(f form, table []stateRow) *stateCodec {
	slices.SortFunc(table, func(a, b stateRow) int {
		if a.raw.numeric != b.raw.numeric {
			if a.raw.numeric {
				return -1
			}
			return 1
		}
		return cmp.Or(cmp.Compare(a.raw.number, b.raw.number), strings.Compare(a.raw.text, b.raw.text))
	})
	return &stateCodec{f, table}
}

func (c *stateCodec) decode(_ *collector.QuantityInfo, values []Value) Decoded {
	for i := range c.table {
		if c.table[i].raw.is(values[0]) {
			return c.table[i].decoded()
		}
	}
	return outOfRange("the model knows no state " + values[0].String())
}

func (c *stateCodec) encode(_ *collector.QuantityInfo, value float64, quality collector.Quality) []Value {
	for _, row := range c.table {
		if row.is(value, quality) {
			return []Value{row.raw.value(c.form)}
		}
	}
	return nil
}

// bitCodec decodes bit strings.
type bitCodec struct {
	bits      []bitRow // bit numbers rising: the lowest set bit wins
	otherwise outcome  // no bit of the table is set
}

type bitRow struct {
	bit int
	outcome
}

func (c *bitCodec) decode(_ *collector.QuantityInfo, values []Value) Decoded {
	if values[0].Kind != Bytes {
		return outOfRange("not a bit string: " + values[0].String())
	}
	octets := values[0].Bytes
	for i := range c.bits {
		if at := c.bits[i].bit; at/8 < len(octets) && octets[at/8]&(0x80>>(at%8)) != 0 {
			return c.bits[i].decoded()
		}
	}
	return c.otherwise.decoded()
}

func (c *bitCodec) encode(_ *collector.QuantityInfo, value float64, quality collector.Quality) []Value {
	octets := make([]byte, c.bits[len(c.bits)-1].bit/8+1)
	if c.otherwise.is(value, quality) {
		return []Value{{Kind: Bytes, Bytes: octets}}
	}
	for _, row := range c.bits {
		if row.is(value, quality) {
			octets[row.bit/8] |= 0x80 >> (row.bit % 8)
			return []Value{{Kind: Bytes, Bytes: octets}}
		}
	}
	return nil
}
