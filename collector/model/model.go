// Package model holds equipment models as data: how a kind of unit is
// recognised, which of its objects hold which quantity, in what encoding, and
// what the equipment's absolute limits are. A new kind of unit is one YAML
// file, no Go.
//
// It guarantees that decoding never panics and never invents: whatever a unit
// answers becomes a good value within the quantity's plausible range or a
// quality that says why there is none. Encode is the inverse, for simulated
// units. Models come from the embedded folder models and from a folder of the
// user's own.
//
// # Model file
//
//	model: rack-dual-supply         # name used in fleet files
//	description: Indoor unit, 19-inch rack, two supplies
//	roles: [indoor]
//	recognise: {sysObjectID: 1.3.6.1.4.1.32473.7.1}
//	supplies: 2
//	timestamp: 1.3.6.1.4.1.32473.7.1.9.0 # optional: sysUpTime at which the values were taken
//	max_age: 2m                     # optional: older values are unavailable
//	points:
//	  - {quantity: optical_receive_power, object: 1.3.6.1.4.1.32473.7.1.2.1.0, scale: 0.01, unit: dBm, no_light: -4000}
//	limits: {receive_power_min_dbm: -12}
//	optics: {transmit_power_dbm: -0.5}  # what links are planned with
//
// # Encodings
//
//	integer       raw x scale + offset, in unit (default)
//	float         as integer; a float, or 4 or 8 octets of IEEE 754
//	text          a number and perhaps a unit: "-3.2 dBm"
//	bits          BITS: bit 0 is 0x80 of the first octet; lowest set bit wins
//	sff8472       a page of SFF-8472 diagnostics, as octets
//	entity_sensor a row of the ENTITY-SENSOR-MIB (RFC 3433)
//
// # Keys of a point
//
//	quantity, port  what it is; port where a unit has several: a, b
//	object          object identifier of the value
//	encoding        see above; bits and row imply theirs
//	scale, offset   default 1 and 0
//	unit            of the scaled number; default: the quantity's own
//	no_light, unavailable, broken
//	                raw values with a meaning of their own
//	states          raw value to state; "unavailable" and "broken" are allowed too
//	bits, otherwise bit number to state, and the state without any of them
//	row             entPhysicalIndex of a sensor's row
//	first_byte      number of the page's octet that an SFF-8472 object begins with
//	calibration     of SFF-8472: internal (default) or external
//	timestamp       object with the sysUpTime at which the value was taken
//	max_age         older values are unavailable; needs a time stamp
//
// Power given in W, mW, µW or nW becomes dBm. No light is information, not a
// missing value: the raw value named by no_light, a linear power of zero, and
// one below the plausible range decode to a good reading at the quantity's
// minimum (-45 dBm for optical power) with the note NoLight, so that a lost
// signal can be judged. A level that a unit itself gives in dBm and that lies
// below the range is out of range.
package model

import (
	"time"

	"lightwell/collector"
)

// Model describes one kind of equipment. It does not change after loading.
type Model struct {
	Name        string
	Description string
	File        string
	Roles       []collector.Role
	Recognise   Recognise
	Equipment   collector.Equipment
	Points      []Point
}

// Recognise says how a unit of the model introduces itself in the system
// group of SNMPv2-MIB. Empty for equipment that has no agent of its own.
type Recognise struct {
	SysObjectID string // prefix, by whole sub-identifiers
	SysDescr    string // text that sysDescr contains; "" for any
}

// Suits tells whether units of that role can be of the model.
func (m *Model) Suits(r collector.Role) bool {
	for _, role := range m.Roles {
		if role == r {
			return true
		}
	}
	return false
}

// Point returns how to read a point of the model, and false when the model
// has no such point.
func (m *Model) Point(p collector.Point) (Point, bool) {
	for i := range m.Points {
		if m.Points[i].Point == p {
			return m.Points[i], true
		}
	}
	return Point{}, false
}

// Objects returns the objects of all points, each once, in the order of the
// points.
func (m *Model) Objects() []string {
	seen := map[string]bool{}
	var all []string
	for i := range m.Points {
		for _, oid := range m.Points[i].objects {
			if !seen[oid] {
				seen[oid] = true
				all = append(all, oid)
			}
		}
	}
	return all
}

// Decoded is what a raw value means.
type Decoded struct {
	Value   float64 // in the quantity's own unit; 0 unless Quality is Good
	Quality collector.Quality
	Age     time.Duration // 0 when the unit does not tell
	Note    string        // for people: why there is no value, or NoLight
}

// Notes of decoded values.
const (
	NoLight  = "no light"
	NoSignal = "no signal"
	absent   = "the unit has no such object"
	partial  = "the answer is incomplete"
)

func unavailable(note string) Decoded { return Decoded{Quality: collector.Unavailable, Note: note} }
func broken(note string) Decoded      { return Decoded{Quality: collector.Broken, Note: note} }
func outOfRange(note string) Decoded  { return Decoded{Quality: collector.OutOfRange, Note: note} }
