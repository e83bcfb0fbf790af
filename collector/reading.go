package collector

import (
	"fmt"
	"strings"
	"time"
)

// A Point is one quantity at one unit, with a port where the unit has several
// of the kind: supply_state/b. The zero Port means that there is only one.
type Point struct {
	Quantity Quantity
	Port     string
}

// String returns quantity or quantity/port.
func (p Point) String() string {
	if p.Port == "" {
		return string(p.Quantity)
	}
	return string(p.Quantity) + "/" + p.Port
}

// MarshalText writes the word of String, so that a point can be a key in JSON.
func (p Point) MarshalText() ([]byte, error) { return []byte(p.String()), nil }

// UnmarshalText reads the word of String.
func (p *Point) UnmarshalText(b []byte) (err error) {
	*p, err = ParsePoint(string(b))
	return err
}

// ParsePoint reads what String wrote. It refuses quantities that are not in
// the table.
func ParsePoint(s string) (Point, error) {
	q, port, _ := strings.Cut(s, "/")
	if _, ok := Quantity(q).Info(); !ok {
		return Point{}, fmt.Errorf("point %q: unknown quantity %q", s, q)
	}
	return Point{Quantity(q), port}, nil
}

// Quality says how far a reading can be trusted. Only a good reading has a
// value.
type Quality uint8

// Qualities.
const (
	Good        Quality = iota
	Unavailable         // the unit has no value now: object missing, or too old
	Broken              // the unit says that its sensor is broken
	OutOfRange          // a value came that cannot be true
)

var qualityNames = [...]string{"good", "unavailable", "broken", "out_of_range"}

// String returns the word used in files, API and page.
func (q Quality) String() string {
	if int(q) < len(qualityNames) {
		return qualityNames[q]
	}
	return fmt.Sprintf("quality(%d)", uint8(q))
}

// MarshalText writes the word of String.
func (q Quality) MarshalText() ([]byte, error) { return []byte(q.String()), nil }

// UnmarshalText reads the word of String.
func (q *Quality) UnmarshalText(b []byte) error {
	for i, name := range qualityNames {
		if name == string(b) {
			*q = Quality(i)
			return nil
		}
	}
	return fmt.Errorf("unknown quality %q", b)
}

// A Reading is a point's value at a time.
type Reading struct {
	Unit    string        // id of the unit
	Point   Point         // what was read
	Value   float64       // in the quantity's own unit; meaningless unless Quality is Good
	Quality Quality       // zero value: Good
	Taken   time.Time     // when the answer arrived: UTC, no monotonic part
	Age     time.Duration // how old the value was when it was taken, where the unit tells; else 0
}

// State returns the name of the state, for a good reading of an enumerated
// quantity; else "".
func (r Reading) State() string {
	if r.Quality != Good {
		return ""
	}
	return r.Point.Quantity.StateName(r.Value)
}
