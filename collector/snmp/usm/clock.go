package usm

import (
	"math"
	"time"
)

// window is how far a message's time may be behind ours (RFC 3414 2.2.3).
const window = 150

// latched is the boots value that an engine keeps when it has lost count; its
// messages count as outside the window until someone repairs it by hand.
const latched = math.MaxInt32

// A Clock is our notion of one engine's boots and time, advanced by the local
// clock between messages.
type Clock struct {
	boots   int32
	seconds int32 // engine time when the clock was set
	latest  int32 // highest engine time received in this boot
	at      time.Time
	firm    bool // set from an authentic message
}

// Set puts the clock to what an engine says. It stays tentative until the
// first authentic message confirms or corrects it, in whatever direction.
func (c *Clock) Set(boots, seconds int32, now time.Time) {
	*c = Clock{boots: boots, seconds: seconds, at: now}
}

// Now returns boots and time to put into a message.
func (c *Clock) Now(now time.Time) (boots, seconds int32) {
	passed := max(0, now.Sub(c.at)/time.Second)
	return c.boots, int32(min(int64(c.seconds)+int64(passed), math.MaxInt32))
}

// Accept updates the clock from an authentic message and tells whether the
// message lies in the time window: RFC 3414 3.2 step 7b, for an engine that is
// not authoritative.
func (c *Clock) Accept(boots, seconds int32, now time.Time) bool {
	if !c.firm || boots > c.boots || boots == c.boots && seconds > c.latest {
		*c = Clock{boots, seconds, seconds, now, true}
	}
	ours, notion := c.Now(now)
	switch {
	case ours == latched, boots < ours:
		return false
	case boots == ours:
		return int64(notion)-int64(seconds) <= window
	}
	return true
}
