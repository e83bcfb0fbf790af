package trend

import (
	"math"
	"sync"

	"lightwell/alarms/baseline"
	"lightwell/alarms/drift"
	"lightwell/collector"
)

// site is what stands at one place. Its units know each other, because a
// receiver is judged with the laser at the other end.
type site struct {
	mu      sync.Mutex // guards all units of the site
	units   []*unit
	catchUp bool // history is still to be read for it; meanwhile polls are left to history
}

// unit is what is followed at one box.
type unit struct {
	at       *site
	id       string
	model    string
	kind     []collector.Point // of its model; shared by all units of it
	gauges   []gauge
	points   []point
	lasers   []laser
	work     []string                    // resources whose planned work disturbs its readings
	fed      []receiver                  // that its lasers feed
	least    *float64                    // dBm that its receivers need; nil: not known
	bears    map[collector.Point]float64 // dB that the service behind a receiver bears; only where another limit than least ends it
	seen     int64                       // start of the last good poll, Unix seconds
	behind   int64                       // start of the newest poll before seen
	behinds  uint8                       // such polls in a row, in order of time
	asked    int64                       // when the calendar was asked last
	accepted int64                       // capture of the baseline in force; 0: none yet
	frozen   bool                        // planned work is under way
	kept     bool                        // a row of it was handed to the store in this life
	version  uint64                      // rises when something of its points that others see has changed
}

// receiver is a point and the unit it is at.
type receiver struct {
	unit  *unit
	point *point
}

// gauge is a thermometer of a unit.
type gauge struct {
	of    *unit
	pos   int16 // in unit.kind
	value float64
	at    int64
}

// point is one point that is followed.
type point struct {
	series drift.Series
	pos    int16   // in unit.kind
	dark   bool    // no light at the last reading
	cold   int64   // last cold start of the laser that feeds it that was minded
	home   *gauge  // of its own unit; nil: none
	own    *gauge  // that explains it: home or far; nil: none
	far    *gauge  // of the unit at the other end, for a receiver
	rival  *rival  // while it is open which of the two explains it better
	feed   *sender // the laser that alone feeds it; nil: none, or several
	sends  *sender // what it tells the receivers that it feeds; nil: it feeds none
	group  *group
	shown  *shown
}

// rival is a point's series with the other temperature.
type rival struct {
	series drift.Series
	gauge  *gauge
}

// sender is a laser as the receivers that it feeds know it.
type sender struct {
	place  place
	gauge  *gauge          // that explains it; nil: none
	level  *baseline.Level // accepted; nil: none
	offset float64         // dB by which it sends more than at commissioning; kept while it is not heard
	cold   int64           // when its unit started last
}

const (
	fresh    = 3600 // seconds; a temperature older than this explains nothing
	stale    = 600  // seconds; a value that a unit has kept for longer is no reading
	askAgain = 60   // seconds between questions to the calendar
)

// reading returns what a poll says of a point of the unit; nil: nothing good.
// Probers give readings in the order of the model.
func (u *unit) reading(p *collector.Poll, pos int16) *collector.Reading {
	want := u.kind[pos]
	if int(pos) < len(p.Readings) && p.Readings[pos].Point == want {
		return current(&p.Readings[pos])
	}
	for i := range p.Readings {
		if p.Readings[i].Point == want {
			return current(&p.Readings[i])
		}
	}
	return nil
}

func current(r *collector.Reading) *collector.Reading {
	if r.Quality != collector.Good || r.Age.Seconds() > stale {
		return nil
	}
	return r
}

func (u *unit) readGauges(p *collector.Poll, at int64) {
	for i := range u.gauges {
		g := &u.gauges[i]
		if r := u.reading(p, g.pos); r != nil {
			g.value, g.at = r.Value, at
		}
	}
}

// temperature returns what a gauge shows at a time; NaN: nothing, or nothing
// recent.
func (g *gauge) temperature(at int64) float64 {
	if g == nil || g.at == 0 || at-g.at > fresh || g.at-at > fresh {
		return math.NaN()
	}
	return g.value
}

// offset returns how much more a laser sends than at commissioning, as far as
// that stands out of its own noise and resolution: below, its monitor would
// only add its noise to what the receivers show.
func offset(l baseline.Level, value, tempC float64) float64 {
	d := l.Deviation(value, tempC, !math.IsNaN(tempC))
	if math.Abs(d) <= max(3*l.Spread, 1.05*l.Quantum) {
		return 0
	}
	return d
}
