package upkeep

import "time"

const (
	// clockSlack is how far a clock may move by itself, as a time service
	// that puts it right after a start.
	clockSlack = 2 * time.Minute
	// clockSettles is how long a clock must run evenly after a jump until it
	// is believed.
	clockSettles = time.Hour
)

// A Clock compares the clock of the machine with the time that passes.
type Clock struct {
	wall    time.Time     // the last clock that was believed
	elapsed time.Duration // and the time since the start at that moment
	off     time.Duration // the jump that is not believed; 0: none
	since   time.Duration // time since the start when it was seen
}

// NewClock begins with the clock saying wall. A clock that is behind last,
// when the program wrote something in an earlier life, has jumped back.
func NewClock(last, wall time.Time) *Clock {
	if last.Sub(wall) > clockSlack {
		return &Clock{wall: last.Round(0)}
	}
	return &Clock{wall: wall.Round(0)}
}

// Observe returns how far the clock has jumped, ahead or, below zero, back;
// zero when it is believed. elapsed is the time since NewClock.
func (c *Clock) Observe(wall time.Time, elapsed time.Duration) time.Duration {
	wall = wall.Round(0)
	off := wall.Sub(c.wall.Add(elapsed - c.elapsed))
	switch {
	case off.Abs() <= clockSlack:
		c.off = 0
	case (off - c.off).Abs() > clockSlack: // a jump, or another one
		c.off, c.since = off, elapsed
		return off
	case elapsed-c.since < clockSettles:
		return c.off
	default:
		c.off = 0
	}
	c.wall, c.elapsed = wall, elapsed
	return 0
}
