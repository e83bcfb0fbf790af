package baseline

import (
	"slices"
	"time"

	"lightwell/alarms/statistic"
	"lightwell/collector"
)

// A sample is a reading in a capture.
type sample struct {
	at    int64 // Unix nanoseconds of the measurement: when taken, less its age
	value float64
}

// A ring keeps the newest samples of a point.
type ring struct {
	samples []sample
	next    int // where the oldest lies once the ring is full
}

// add keeps s unless it is not newer than the last: a value that the unit has
// not measured anew says nothing about noise.
func (r *ring) add(s sample, limit int) {
	n := len(r.samples)
	if n > 0 && s.at <= r.samples[(r.next+n-1)%n].at {
		return
	}
	if n < limit {
		r.samples = append(r.samples, s)
		return
	}
	r.samples[r.next] = s
	r.next = (r.next + 1) % n
}

// values returns the values in time order and the time between the first and
// the last.
func (r *ring) values() ([]float64, time.Duration) {
	n := len(r.samples)
	if n == 0 {
		return nil, 0
	}
	out := make([]float64, n)
	for i := range out {
		out[i] = r.samples[(r.next+i)%n].value
	}
	return out, time.Duration(r.samples[(r.next+n-1)%n].at - r.samples[r.next].at)
}

// A capture collects the readings of one unit from begin to accept.
type capture struct {
	by        string
	begun     time.Time
	polls     int // good ones
	failed    int
	restarted bool
	points    map[collector.Point]*ring // compared points, and temperatures
}

// observe adds a poll. A restart drops what was collected: a unit that has
// just started is not yet at its level.
func (c *capture) observe(p collector.Poll, limit int) {
	if p.Started.Before(c.begun) {
		return
	}
	if p.Err != nil {
		c.failed++
		return
	}
	if p.Restarted {
		clear(c.points)
		c.polls, c.restarted = 0, true
	}
	c.polls++
	for i := range p.Readings {
		r := &p.Readings[i]
		if r.Quality != collector.Good || !collected(r.Point.Quantity) {
			continue
		}
		at := c.points[r.Point]
		if at == nil {
			at = &ring{}
			c.points[r.Point] = at
		}
		at.add(sample{r.Taken.Add(-r.Age).UnixNano(), r.Value}, limit)
	}
}

func collected(q collector.Quantity) bool {
	info, ok := q.Info()
	return ok && (info.Compared || q == collector.Temperature)
}

// temperature returns the median of the case temperature during the capture;
// 0 when the unit has none.
func (c *capture) temperature() float64 {
	for p, r := range c.points {
		if p == (collector.Point{Quantity: collector.Temperature}) {
			v, _ := r.values()
			slices.Sort(v)
			return statistic.Median(v, statistic.Quantum(v))
		}
	}
	return 0
}
