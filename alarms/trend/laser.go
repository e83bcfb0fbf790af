package trend

import (
	"slices"
	"time"

	"lightwell/alarms/drift"
	"lightwell/collector"
)

// laser is a laser bias that is followed. Its own power control makes what it
// sends tell nothing of its age; its bias does.
type laser struct {
	state drift.Laser
	pos   int16 // of the bias in unit.kind
	own   *gauge
	shown *drift.LaserTrend // replaced, never changed
}

// observe takes a good reading of the bias, and tells whether a day has ended.
func (l *laser) observe(c *drift.LaserSettings, u *unit, at int64, bias float64) bool {
	if !l.state.Observe(c, at, bias, l.own.temperature(at)) {
		return false
	}
	l.show(c, u)
	return true
}

func (l *laser) show(c *drift.LaserSettings, u *unit) {
	if t := l.state.Trend(c); t.Phase != drift.LaserEmpty {
		l.shown = &t
		u.version++
	}
}

// coldStart is how long a laser is left alone after its power came back.
const coldStart = 2 * 3600

func (u *unit) restLasers(at int64) {
	for i := range u.lasers {
		u.lasers[i].state.Freeze(at + coldStart)
	}
}

// laserAt returns the laser of a port; nil: none.
func (u *unit) laserAt(port string) *laser {
	i := slices.IndexFunc(u.lasers, func(l laser) bool { return u.kind[l.pos].Port == port })
	if i < 0 {
		return nil
	}
	return &u.lasers[i]
}

// append writes the laser as a point of the unit's row.
func (l *laser) append(out []byte, name collector.Point) []byte {
	return appendLong(appendName(out, 0, name), l.state.AppendBinary)
}

// Renewed tells that the lasers of units were exchanged at a recorded visit:
// they are learnt anew. Work at a fibre makes no laser younger.
func (k *Keeper) Renewed(units []string, until time.Time) {
	k.visit(units, func(u *unit) {
		for i := range u.lasers {
			l := &u.lasers[i]
			l.state.Renew()
			l.state.Freeze(until.Unix() + coldStart)
			l.shown = nil
		}
		u.version++
	})
}
