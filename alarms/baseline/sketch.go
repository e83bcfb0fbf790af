package baseline

import (
	"math"
	"time"

	"lightwell/collector"
)

// A Sketch is a baseline taken from recorded readings: without a store, and
// accepted by nobody. It is for trying things out, not for a Book. Not safe
// for concurrent use.
type Sketch struct{ c capture }

// NewSketch returns a Sketch of the readings from begun on.
func NewSketch(begun time.Time) *Sketch {
	return &Sketch{capture{begun: begun, points: map[collector.Point]*ring{}}}
}

// Observe adds a poll.
func (s *Sketch) Observe(p collector.Poll) { s.c.observe(p, math.MaxInt) }

// Polls returns how many good polls the sketch holds. A restart of the unit
// drops what was collected.
func (s *Sketch) Polls() int { return s.c.polls }

// Record returns what the readings give for unit u, as if it had been
// accepted by force at now. Its Findings say what speaks against that. A
// record without levels is none.
func (s *Sketch) Record(u collector.Unit, now time.Time) Record {
	return makeRecord(judge(&s.c, u, math.MaxInt, nil, Default(), now), u, 1, "", "", true, now)
}
