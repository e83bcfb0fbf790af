package drift

import "math"

const (
	hourSeconds = 3600
	dayHours    = 24
	coldStart   = 2 * hourSeconds     // after an outage or a visit nothing is judged for so long
	outage      = hourSeconds * 3 / 2 // a gap this long, and of three polls, is one
	frozen      = math.MaxUint32      // quiet until further notice
)

// A Series is the state of one point. The zero value waits for its first
// reading. Losses inside count from origin; once a baseline is final, from it.
type Series struct {
	// Readings.
	origin float32 // dBm or dB that counts as no loss
	last   float32 // value of the last full hour, as a loss
	sum    float32 // of clipped differences from last, this hour
	heat   float32 // sum of temperatures, this hour
	spread float32 // running mean of the absolute clipped difference
	at     uint32  // of the newest reading, Unix seconds; its hour is the one under way
	quiet  uint32  // readings before this time are not judged
	count  uint16  // of readings, this hour
	warm   uint16  // of them with a temperature
	usual  uint16  // readings that an hour brings
	age    uint16  // days of readings since commissioning or the last visit began

	// Hours.
	yesterday float32 // level of the last full day at reference temperature
	yesterhot float32 // its mean temperature, from tref
	heatToday float32 // sum of today's hours' distances from tref
	down, up  float32 // CUSUM of steps into a loss, and its mirror

	// Days.
	f      filter
	tref   float32 // °C; NaN: no temperature yet
	steps  float32 // part of the level that came in steps
	before float32 // lost since the first baseline up to the last visit
	first  float32 // the first baseline, dBm or dB
	since  int32   // hour in which the oldest active alarm began

	hours    [dayHours]int8 // of today: hundredths of a dB from yesterday
	filled   uint8          // how many of them
	deep     runs           // into a loss
	high     runs           // mirror of it
	calm     uint8          // days that a drift or step has looked over
	lean     int8           // how far off the last day was, in sixteenths of a standard error
	downFor  uint8          // hours since down was nought
	upFor    uint8
	stretch  uint8 // hours in a row at the edge of the clip
	settling uint8 // days that the level still moves because of a step
	phase    Phase
	active   Kinds
	peak     uint8 // highest rung of the ladder in this excursion of the drift mirror
	climb    uint8 // the same for the step mirror
	mirrors  uint8 // alarms of the mirror so far
}

// runs follows short excursions: of polls in a row, of half-hours, of days.
type runs struct {
	polls uint8 // in a row beyond the limit, now
	slots uint8 // bit 0: this slot has an excursion, bit 1: the one before had
	today uint8 // excursions begun today
	level uint8 // the balance of past days, in halves of an excursion
}

// Observe takes a reading: its time in Unix seconds, its value in dBm or dB,
// and the temperature in °C that explains it, NaN if there is none. Readings
// come in order of time; others, and values that are no number, are ignored.
func (s *Series) Observe(c *Settings, at int64, value, tempC float64) Turn {
	if at <= int64(s.at) || at >= frozen || math.IsNaN(value) || math.IsInf(value, 0) {
		return Turn{}
	}
	var t Turn
	now := uint32(at)
	hour := int32(now / hourSeconds)
	if s.phase == Empty {
		s.start(value, tempC)
	} else if hour != s.hour() {
		t = s.turn(c, hour)
	}
	s.watchGap(now)
	slot := now / (hourSeconds / 2)
	if slot != s.at/(hourSeconds/2) {
		s.deep.nextSlot()
		s.high.nextSlot()
	}
	s.at = now
	if now < s.quiet {
		return t
	}
	d := s.origin - float32(value) - s.last
	t.Raised |= s.excursion(c, d)
	edge := c.Clip * float32(int(1)<<s.stretch)
	d = max(-edge, min(d, edge))
	s.sum += d
	s.count++
	if !math.IsNaN(tempC) {
		s.heat += float32(tempC)
		s.warm++
	}
	return t
}

func (s *Series) start(value, tempC float64) {
	s.origin, s.first = float32(value), float32(value)
	s.spread = 0.05
	s.tref = float32(tempC)
	s.phase = Prior
	s.f = newFilter()
}

// watchGap keeps quiet after an outage: units start cold.
func (s *Series) watchGap(now uint32) {
	gap := now - s.at
	if gap >= outage && s.at != 0 && s.quiet != frozen && uint64(gap)*uint64(max(s.usual, 1)) > 2.5*hourSeconds {
		s.quiet = max(s.quiet, now+coldStart)
	}
}

// turn closes the hour under way and, when the day changes, the day.
func (s *Series) turn(c *Settings, hour int32) Turn {
	t := Turn{Hour: true}
	s.closeHour(c, &t)
	if hour/dayHours != s.hour()/dayHours {
		t.Day = true
		s.closeDay(c, &t)
	}
	return t
}

// hour is the one under way, since 1970.
func (s *Series) hour() int32 { return int32(s.at / hourSeconds) }
