package baseline

import (
	"time"

	"lightwell/collector"
)

const (
	coldStart   = 2 * time.Hour    // after an outage or work nothing is learnt for so long
	longGap     = 90 * time.Minute // between polls is an outage, when it is also three polls
	oldReading  = 10 * time.Minute // a value that a unit has kept for longer is no reading
	manyFailed  = 3                // polls in a row are an outage
	hourSeconds = 3600
)

// A track is one point that is learnt.
type track struct {
	hour hour
	tape *tape
}

// A gauge is one thermometer that may explain points.
type gauge struct {
	hour  hour
	tape  *tape
	begun int64   // its hour under way
	ref   float64 // of its first hour: what the accepted values belong to
}

// A learner follows one unit from the acceptance of a baseline until its
// levels are final.
type learner struct {
	unit    string
	version int

	began  int64 // hour of the first reading; 0: none yet
	now    int64 // hour under way
	last   time.Time
	every  time.Duration // between the last two polls
	failed int           // polls in a row
	quiet  time.Time     // until then nothing is learnt
	asked  time.Time     // when the calendar was asked last
	works  bool          // what it said
	outage time.Time     // the newest; zero: none

	tracks map[collector.Point]*track
	gauges map[thermometer]*gauge
	clips  map[collector.Point]float64

	judged int64 // hour of the last judgement
	found  []PointLearning
	fresh  bool // has learnt something that is not stored
}

// newLearner learns the points of a record.
func newLearner(r Record, f *collector.Fleet, cfg Config) *learner {
	l := &learner{unit: r.Unit, version: r.Version, tracks: map[collector.Point]*track{}, gauges: map[thermometer]*gauge{}, clips: map[collector.Point]float64{}}
	for p, level := range r.Levels {
		info, _ := p.Quantity.Info()
		size, _, _ := cfg.tolerance(info, level.Value)
		size = max(size, leastSize)
		l.tracks[p] = &track{hour: hour{last: level.Value}, tape: newTape(level.Value, size/100)}
		l.clips[p] = 5 * size
	}
	l.place(f)
	return l
}

// place tells which thermometers may explain the points of the unit now.
func (l *learner) place(f *collector.Fleet) {
	u, ok := f.Unit(l.unit)
	if !ok {
		return
	}
	wanted := map[thermometer]bool{}
	for p := range l.tracks {
		for _, t := range thermometers(f, u, p) {
			wanted[t] = true
			if l.gauges[t] == nil {
				l.gauges[t] = &gauge{}
			}
		}
	}
	for t := range l.gauges {
		if !wanted[t] {
			delete(l.gauges, t)
		}
	}
}

// observe takes a poll of the unit; working tells that planned work at it is
// under way.
func (l *learner) observe(p *collector.Poll, working bool) {
	if p.Err != nil {
		if l.failed++; l.failed == manyFailed {
			l.outage = p.Started
		}
		return
	}
	if l.turn(p.Started); l.began == 0 {
		l.began = l.now
	}
	l.rest(p, working)
	for i := range p.Readings {
		r := &p.Readings[i]
		t := l.tracks[r.Point]
		if t == nil || r.Quality != collector.Good || r.Age > oldReading {
			continue
		}
		switch {
		case Dark(r.Point.Quantity, r.Value):
			l.outage = p.Started
		case !p.Started.Before(l.quiet):
			t.hour.add(r.Value, l.clips[r.Point])
		}
	}
}

// rest says how long nothing is learnt.
func (l *learner) rest(p *collector.Poll, working bool) {
	gap := p.Started.Sub(l.last)
	out := !l.last.IsZero() && (p.Restarted || l.failed >= manyFailed || gap >= longGap && gap > 3*l.every)
	if out {
		l.outage = p.Started
	}
	if out || working {
		l.quiet = p.Started.Add(coldStart)
	}
	if !l.last.IsZero() {
		l.every = gap
	}
	l.last, l.failed = p.Started, 0
}

// turn ends the hour under way when a time is in another.
func (l *learner) turn(at time.Time) {
	now := at.Unix() / hourSeconds
	if now <= l.now {
		return
	}
	if l.now != 0 {
		for p, t := range l.tracks {
			if v, ok := t.hour.close(l.clips[p]); ok {
				t.tape.put(l.now, v)
			}
		}
		l.fresh = true
	}
	l.now = now
}

// heat takes a temperature of a thermometer.
func (l *learner) heat(t thermometer, at time.Time, tempC float64) {
	g := l.gauges[t]
	if g == nil {
		return
	}
	const clipC = 30
	now := at.Unix() / hourSeconds
	switch {
	case g.tape == nil:
		g.tape, g.begun = newTape(tempC, 0.01), now
		g.hour.last, g.ref = tempC, tempC
	case now > g.begun:
		if v, ok := g.hour.close(clipC); ok {
			if g.tape.newest == 0 {
				g.ref = v
			}
			g.tape.put(g.begun, v)
		}
		g.begun = now
	}
	g.hour.add(tempC, clipC)
}
