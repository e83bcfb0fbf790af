package drift

import "math"

const (
	hourSeconds = 3600
	dayHours    = 24
	slotSeconds = hourSeconds / 2
	coldStart   = 2 * hourSeconds     // after an outage or a visit nothing is judged for so long
	outage      = hourSeconds * 3 / 2 // a gap this long, and of three polls, is one
	frozen      = math.MaxUint32      // quiet until further notice
)

// A Series is the state of one point. The zero value waits for its first
// reading. Losses inside count from origin; once a baseline is final, from it.
type Series struct {
	// Readings.
	origin   float32 // dBm or dB that counts as no loss
	last     float32 // value of the last full hour, as a loss
	sum      float32 // of clipped differences from last, this hour
	heat     float32 // sum of temperatures, this hour
	spread   float32 // running mean of the absolute clipped difference
	at       uint32  // of the newest reading, Unix seconds; its hour is the one under way
	quiet    uint32  // readings before this time are not judged
	count    uint16  // of readings, this hour
	warm     uint16  // of them with a temperature
	usual    uint16  // readings that an hour brings
	age      uint16  // days of readings since commissioning or the last visit began
	deep     runs    // into a loss
	high     runs    // mirror of it
	stretch  uint8   // hours in a row at the edge of the clip
	phase    Phase
	active   Kinds
	settling uint8 // days that the level still moves because of a step

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

	hours   [dayHours]int8 // of today: hundredths of a dB from yesterday
	filled  uint8          // how many of them
	calm    uint8          // days that a drift or step has looked over
	lean    int8           // days in a row that were off the same way; below nought: the mirror's
	downFor uint8          // hours since down was nought
	upFor   uint8
	peak    uint8 // highest rung of the ladder in this excursion of the drift mirror; of the drift, when last told, while it stands
	climb   uint8 // the same for the step mirror
	mirrors uint8 // alarms of the mirror so far
}

// runs follows short excursions: of polls in a row, of half-hours, of days.
type runs struct {
	polls uint8 // in a row beyond the limit, now
	slots uint8 // bit 0: this slot has an excursion, bit 1: the one before had
	today uint8 // excursions begun today, in halves of one
	level uint8 // the balance of past days, in halves of an excursion
}

// Observe takes a reading: its time in Unix seconds, its value in dBm or dB,
// and the temperature in °C that explains it, NaN if there is none. Readings
// come in order of time; others, and values that are no number, are ignored.
func (s *Series) Observe(c *Settings, at int64, value, tempC float64) Turn {
	if at <= int64(s.at) || at >= frozen || s.quiet == frozen || value-value != 0 { // NaN and infinities
		return Turn{}
	}
	var t Turn
	now := uint32(at)
	slot, before := now/slotSeconds, s.at/slotSeconds
	if s.phase == Empty {
		s.start(value, tempC)
	} else if slot != before {
		if slot/2 != before/2 {
			t = s.turn(c, int32(slot/2))
		}
		s.deep.nextSlot()
		s.high.nextSlot()
	}
	if now-s.at >= outage {
		s.watchGap(now)
	}
	s.at = now
	if now < s.quiet {
		return t
	}
	d := s.origin - float32(value) - s.last
	t.Raised |= s.excursion(c, d)
	edge := c.Clip
	if s.stretch > 0 {
		edge *= float32(int(1) << s.stretch)
	}
	s.sum += max(-edge, min(d, edge))
	s.count++
	if tempC == tempC {
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
	if gap := now - s.at; s.at != 0 && uint64(gap)*uint64(max(s.usual, 1)) > 2.5*hourSeconds {
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
	if s.active&Faults != 0 {
		t.drift, t.step = ascent{}, ascent{}
	}
	return t
}

// hour is the one under way, since 1970.
func (s *Series) hour() int32 { return int32(s.at / hourSeconds) }
