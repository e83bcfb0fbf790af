package model

import (
	"encoding/binary"
	"math"

	"lightwell/collector"
)

// sffCodec decodes the diagnostics of SFF-8472, page A2h (revision 11.3; field
// layout and calibration as in AN-2030, 2002). All fields are big-endian.
type sffCodec struct {
	first    int  // number of the page's octet that the object begins with
	external bool // apply the calibration constants of octets 56-91
	field    sffField
}

// sffField is one field of the page.
type sffField struct {
	at     int // octet; slope follows at cal, offset behind it
	cal    int
	signed bool
	unit   conversion // from counts to the quantity's own unit
	states []sffState // bits of octet 110, the first set one wins; nil: a number
}

type sffState struct {
	mask  byte
	value float64 // state when the bit is set; none set: the first state
}

const (
	sffStatus   = 110  // octet of the state bits
	sffNotReady = 0x01 // data is not ready yet
	sffRxPower  = 56   // five IEEE 754 singles, fourth power first
)

// sffFields: units of Table 3.15: 1/256 °C, 100 µV, 2 µA, 0.1 µW.
var sffFields = map[collector.Quantity]sffField{
	collector.Temperature:          {at: 96, cal: 84, signed: true, unit: conversion{linear{1. / 256, 0, 0}, false}},
	collector.SupplyVoltage:        {at: 98, cal: 88, unit: conversion{linear{1, -4, 0}, false}},
	collector.LaserBias:            {at: 100, cal: 76, unit: conversion{linear{2, -3, 0}, false}},
	collector.OpticalTransmitPower: {at: 102, cal: 80, unit: conversion{linear{1, -4, 0}, true}},
	collector.OpticalReceivePower:  {at: 104, cal: sffRxPower, unit: conversion{linear{1, -4, 0}, true}},
	collector.OpticalReceiveState:  {at: sffStatus, states: []sffState{{0x02, 1}}},            // lost
	collector.LaserState:           {at: sffStatus, states: []sffState{{0x04, 3}, {0x80, 1}}}, // failed; off (bit 7, transmitter disabled, from memory)
}

// page gives access to octets by their number in the page.
type page struct {
	octets []byte
	first  int
}

func (p page) get(at, n int) []byte {
	if at -= p.first; at < 0 || at+n > len(p.octets) {
		return nil
	}
	return p.octets[at : at+n]
}

func (c *sffCodec) decode(q *collector.QuantityInfo, values []Value) Decoded {
	if values[0].Kind != Bytes {
		return outOfRange("not a page of octets: " + values[0].String())
	}
	p := page{values[0].Bytes, c.first}
	if status := p.get(sffStatus, 1); status != nil && status[0]&sffNotReady != 0 {
		return unavailable("the module's data is not ready")
	}
	f := &c.field
	if f.states != nil {
		return f.state(p)
	}
	field := p.get(f.at, 2)
	if field == nil {
		return unavailable(partial)
	}
	counts := float64(binary.BigEndian.Uint16(field))
	if f.signed {
		counts = float64(int16(binary.BigEndian.Uint16(field)))
	}
	if c.external {
		var ok bool
		if counts, ok = f.calibrate(p, counts); !ok {
			return unavailable("the calibration constants are missing")
		}
	}
	return f.unit.convert(counts, q)
}

func (f *sffField) state(p page) Decoded {
	status := p.get(f.at, 1)
	if status == nil {
		return unavailable(partial)
	}
	for _, s := range f.states {
		if status[0]&s.mask != 0 {
			return Decoded{Value: s.value}
		}
	}
	return Decoded{}
}

// calibrate applies slope and offset, or for receive power the polynomial
// R4*ad^4 + R3*ad^3 + R2*ad^2 + R1*ad + R0 (AN-2030 p. 20).
func (f *sffField) calibrate(p page, counts float64) (float64, bool) {
	if f.cal == sffRxPower {
		r := p.get(f.cal, 20)
		if r == nil {
			return 0, false
		}
		var sum float64
		for i := 0; i < 20; i += 4 {
			sum = sum*counts + float64(math.Float32frombits(binary.BigEndian.Uint32(r[i:])))
		}
		return max(sum, 0), !math.IsNaN(sum)
	}
	r := p.get(f.cal, 4)
	if r == nil {
		return 0, false
	}
	slope := float64(binary.BigEndian.Uint16(r)) / 256
	return slope*counts + float64(int16(binary.BigEndian.Uint16(r[2:]))), true
}

// encode writes a page that holds this field only, with calibration constants
// that change nothing.
func (c *sffCodec) encode(q *collector.QuantityInfo, value float64, quality collector.Quality) []Value {
	if quality == collector.Broken || math.IsNaN(value) {
		return nil
	}
	octets := make([]byte, sffStatus+1-min(c.first, sffStatus))
	p := page{octets, c.first}
	f := &c.field
	if quality == collector.Unavailable {
		if status := p.get(sffStatus, 1); status != nil {
			status[0] |= sffNotReady
			return []Value{{Kind: Bytes, Bytes: octets}}
		}
		return nil
	}
	if f.states != nil {
		return f.encodeState(octets, p, value)
	}
	counts := math.Round(f.unit.raw(value, q))
	if f.signed {
		counts = float64(uint16(int16(min(max(counts, math.MinInt16), math.MaxInt16))))
	}
	binary.BigEndian.PutUint16(p.get(f.at, 2), uint16(min(max(counts, 0), math.MaxUint16)))
	if c.external {
		f.neutral(p)
	}
	return []Value{{Kind: Bytes, Bytes: octets}}
}

func (f *sffField) encodeState(octets []byte, p page, value float64) []Value {
	known := value == 0
	for _, s := range f.states {
		if s.value == value {
			p.get(sffStatus, 1)[0] |= s.mask
			known = true
		}
	}
	if !known {
		return nil
	}
	return []Value{{Kind: Bytes, Bytes: octets}}
}

func (f *sffField) neutral(p page) {
	if f.cal == sffRxPower {
		binary.BigEndian.PutUint32(p.get(f.cal+12, 4), math.Float32bits(1)) // R1
		return
	}
	binary.BigEndian.PutUint16(p.get(f.cal, 2), 0x0100)
}
