package drift

import "math"

// LaserSettings are what all lasers share. The zero value is of no use: start
// from DefaultLaser. The ageing index is the share by which a bias exceeds
// that of the laser as it was learnt, at the same temperature: 0.1 is 10 %.
type LaserSettings struct {
	LearnDays uint16     // days with readings until the model is fitted; fewer judge sooner, by fewer temperatures
	Limits    [3]float32 // of the index: warning, minor, major
	Back      float32    // below a limit by so much, the index counts as back
	RaiseDays uint8      // in a row beyond a limit before it counts; more is later and safer
	ClearDays uint8      // in a row below it
	Walk      float32    // what the index may move in a day, one standard deviation
	Memory    float32    // days after which a day counts for a third in the slope; less follows faster and is less sure
	Ahead     [3]Ahead   // by limits passed: how the true time left compares with that of a straight line
}

// DefaultLaser returns the settings as shipped. The limits are common
// practice: +10 % watch, +20 % plan, +50 % end of life.
func DefaultLaser() LaserSettings {
	return LaserSettings{
		LearnDays: 14,
		Limits:    [3]float32{0.1, 0.2, 0.5},
		Back:      0.02,
		RaiseDays: 5,
		ClearDays: 7,
		Walk:      0.003,
		Memory:    40,
		Ahead:     [3]Ahead{{-0.63, -0.23, 0.10}, {-0.43, -0.10, 0.12}, {-0.47, -0.08, 0.05}},
	}
}

// Ahead holds the 10 %, 50 % and 90 % quantiles of ln(true/straight) time
// left until a limit. Those shipped are of simulated lasers, half of them
// ageing steadily and half growing e-fold in 200 to 600 days: real ones may
// differ, and then so does the share of forecasts that hold.
type Ahead struct{ Low, Middle, High float32 }

const (
	biasEdge    = 0.1  // farthest that a reading counts from the hour before, and an hour from the day before; a share
	laserHours  = 6    // hours of a day that can be judged, at least
	freshDays   = 7    // so long a measured index says how old the laser is at a temperature met for the first time
	newLaserVar = 1e-4 // variance of index and day of a laser just learnt: 1 %
	leastNoise  = 1e-6 // variance of a day, at least: 0.1 %
)

// A LaserPhase is how far the temperature model of a laser is.
type LaserPhase uint8

// Phases in their order.
const (
	LaserEmpty    LaserPhase = iota // no reading with a temperature yet
	LaserLearning                   // the first weeks
	LaserKnown                      // the model is fitted
)

// String returns the phase as people read it.
func (p LaserPhase) String() string {
	return [...]string{"no readings", "learning", "known"}[min(p, LaserKnown)]
}

// A Laser is the state of one laser under power control: what bias it took at
// each case temperature in its first weeks, and how its bias has moved since
// against that. The zero value waits for its first reading. A Laser is of
// constant size and not safe for concurrent use.
//
// Ageing is slow and makes no step, so a day counts when at least six of its
// hours can be judged: those at temperatures between the coldest and the
// hottest that the model has seen. Beyond them there is no verdict. Once such
// a temperature is met while the index is fresh, the model learns it, with
// the ageing known by then taken out.
type Laser struct {
	// Readings.
	at    uint32 // of the newest, Unix seconds
	quiet uint32 // readings before this time are not used
	every uint32 // seconds between the last two
	hour  int32  // under way, since 1970
	count uint32 // of readings, this hour
	last  float32
	sum   float32 // of clipped shares by which they exceed last, this hour
	heat  float32 // sum of temperatures, this hour
	edge  uint8   // hours in a row at the edge of the clip

	// Hours.
	hours   uint8   // judged today
	beyond  uint8   // today, at temperatures not known
	excess  float32 // sum of clipped index less that of yesterday, today
	learned uint8   // today: 1 with any reading

	// Days.
	phase  LaserPhase
	taught uint16 // days that the model was taught
	model  laserModel
	ageing ageing
}

// Observe takes a reading: its time in Unix seconds, the bias in milliamperes
// and the temperature of the laser's case in °C. Readings come in order of
// time; others, and those without a temperature, are ignored. It answers true
// when a day has ended, that is, when the trend may be another.
func (l *Laser) Observe(c *LaserSettings, at int64, biasMA, tempC float64) (day bool) {
	if at <= int64(l.at) || at >= frozen || !(biasMA > 0) || math.IsInf(biasMA, 0) || math.IsNaN(tempC) || math.Abs(tempC) > 200 {
		return false
	}
	now := uint32(at)
	hour := int32(now / hourSeconds)
	switch {
	case l.phase == LaserEmpty:
		l.phase, l.hour, l.last = LaserLearning, hour, float32(biasMA)
		l.model.base = float32(tempC)
	case hour != l.hour:
		day = l.turn(c, hour)
	}
	l.watchGap(now)
	l.at = now
	if now < l.quiet {
		return day
	}
	edge := float32(biasEdge * float64(int(1)<<l.edge))
	l.sum += max(-edge, min(float32(biasMA)/l.last-1, edge))
	l.heat += float32(tempC)
	l.count++
	return day
}

// watchGap keeps quiet after an outage: lasers start cold.
func (l *Laser) watchGap(now uint32) {
	gap := now - l.at
	if l.at != 0 && gap >= outage && gap > 3*l.every && l.quiet != frozen {
		l.quiet = max(l.quiet, now+coldStart)
	}
	l.every = gap
}

// Freeze takes no readings until the time given, in Unix seconds: planned
// work is going on.
func (l *Laser) Freeze(until int64) {
	l.quiet = uint32(max(int64(l.quiet), min(until, frozen-1)))
}

// Renew forgets the laser: another one is in its place. It is for a recorded
// visit that exchanged it; work on the fibre makes no laser younger.
func (l *Laser) Renew() { *l = Laser{} }

func (l *Laser) turn(c *LaserSettings, hour int32) (day bool) {
	l.closeHour()
	if day = hour/dayHours != l.hour/dayHours; day {
		l.closeDay(c)
	}
	l.hour = hour
	return day
}

// closeHour makes the mean of the hour a lesson or a measurement.
func (l *Laser) closeHour() {
	if l.count == 0 {
		return
	}
	n := float32(l.count)
	mean, edge := l.sum/n, float32(biasEdge)*float32(int(1)<<l.edge)
	if max(mean, -mean) > 0.8*edge { // all of it beyond the clip: no noise
		l.edge = min(l.edge+1, 4)
	} else {
		l.edge = 0
	}
	bias, temp := l.last*(1+mean), l.heat/n
	l.last, l.sum, l.heat, l.count = bias, 0, 0, 0
	l.learned = 1
	switch today := l.hour / dayHours; {
	case l.phase == LaserLearning:
		l.model.learn(bias, temp)
	case l.model.knows(temp):
		l.hours++
		off := bias/l.model.at(temp) - 1 - l.ageing.newest
		l.excess += max(-biasEdge, min(off, biasEdge))
	default:
		l.beyond++
		if l.ageing.fresh(today) {
			l.model.learn(bias/(1+l.ageing.index()), temp)
		}
	}
}

func (l *Laser) closeDay(c *LaserSettings) {
	today := l.hour / dayHours
	switch {
	case l.phase == LaserLearning:
		if l.taught += uint16(l.learned); l.taught >= c.LearnDays && l.model.fit() {
			l.phase = LaserKnown
			l.ageing = newAgeing(today)
		}
	case l.hours >= laserHours:
		l.ageing.observe(c, today, l.ageing.newest+l.excess/float32(l.hours))
	}
	if l.phase == LaserKnown {
		if l.beyond > 0 && l.hours < laserHours {
			l.ageing.missed = min(l.ageing.missed, math.MaxUint16-1) + 1
		}
		if l.model.grown() {
			l.model.fit()
		}
	}
	l.hours, l.beyond, l.excess, l.learned = 0, 0, 0, 0
}
