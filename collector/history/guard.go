package history

import "time"

// A guard tells how new a reading may be. It trusts the clock of the machine
// while that runs as evenly as the time since the start; a jump ahead is
// believed only after it has stood for a while, a jump back at once.
type guard struct {
	ahead, settle time.Duration

	wall    time.Time     // the last clock that was trusted
	elapsed time.Duration // and the time since the start at that moment
	suspect time.Duration // time since the start when a jump was first seen; 0: none
}

// limit returns the newest time that is accepted, when the clock says wall
// and the process has run for elapsed, which is above zero.
func (g *guard) limit(wall time.Time, elapsed time.Duration) time.Time {
	if g.wall.IsZero() {
		g.trust(wall, elapsed)
	}
	expected := g.wall.Add(elapsed - g.elapsed)
	switch {
	case wall.Sub(expected) <= g.ahead:
		g.trust(wall, elapsed)
	case g.suspect == 0:
		g.suspect = elapsed
	case elapsed-g.suspect >= g.settle:
		g.trust(wall, elapsed)
	}
	if g.suspect != 0 {
		return expected.Add(g.ahead)
	}
	return wall.Add(g.ahead)
}

func (g *guard) trust(wall time.Time, elapsed time.Duration) {
	g.wall, g.elapsed, g.suspect = wall, elapsed, 0
}
