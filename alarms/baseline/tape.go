package baseline

import "math"

// window is how many hours of a point are kept while it is learnt: two weeks.
const window = 14 * 24

// blank stands for an hour without a value.
const blank = math.MinInt16

// A tape holds the hours of the last two weeks, two bytes each. The zero value
// is empty.
type tape struct {
	newest int64 // hour since 1970 that was put last; 0: none
	ref    float64
	step   float64 // of the numbers in slots, in the unit of the values
	slots  [window]int16
}

func newTape(ref, step float64) *tape {
	t := &tape{ref: ref, step: step}
	for i := range t.slots {
		t.slots[i] = blank
	}
	return t
}

// put stores the value of an hour that is newer than all before.
func (t *tape) put(hour int64, value float64) {
	if hour <= t.newest {
		return
	}
	for h := max(t.newest+1, hour-window+1); t.newest > 0 && h < hour; h++ {
		t.slots[h%window] = blank
	}
	t.newest = hour
	v := math.Round((value - t.ref) / t.step)
	t.slots[hour%window] = int16(max(blank+1, min(v, math.MaxInt16)))
}

// at returns the value of an hour.
func (t *tape) at(hour int64) (float64, bool) {
	if hour > t.newest || hour <= t.newest-window || t.slots[hour%window] == blank {
		return 0, false
	}
	return t.ref + float64(t.slots[hour%window])*t.step, true
}

// count returns how many hours from first up to and without end have a value.
func (t *tape) count(first, end int64) (n int) {
	for h := first; h < end; h++ {
		if _, ok := t.at(h); ok {
			n++
		}
	}
	return n
}

// An hour is the hour of a point under way: the mean of its readings, each
// clipped about the hour before.
type hour struct {
	last  float64 // value of the hour before
	sum   float64 // of clipped differences from it
	count int
	usual int     // readings that an hour brings
	edge  int     // hours in a row at the edge of the clip
	prev  float64 // reading before
	apart float64 // sum of differences between neighbours, clipped
	pairs int
}

// add takes a reading, at most clip away from the hour before.
func (h *hour) add(value, clip float64) {
	clip *= float64(int(1) << h.edge)
	h.sum += max(-clip, min(value-h.last, clip))
	h.count++
	if h.count > 1 {
		h.apart += min(math.Abs(value-h.prev), clip)
		h.pairs++
	}
	h.prev = value
}

// close ends the hour; ok is false with less than a quarter of its readings.
// An hour that was beyond its clip altogether is no noise: the next may move
// twice as far.
func (h *hour) close(clip float64) (value float64, ok bool) {
	n := h.count
	h.usual = max(h.usual-h.usual/50, n)
	if n > 0 {
		mean := h.sum / float64(n)
		if math.Abs(mean) > 0.8*clip*float64(int(1)<<h.edge) {
			h.edge = min(h.edge+1, 5)
		} else {
			h.edge = 0
		}
		h.last += mean
	}
	h.sum, h.count = 0, 0
	return h.last, n > 0 && 4*n >= h.usual
}

// sigma returns the standard deviation of single readings, from differences
// between neighbours; 0: not known.
func (h *hour) sigma() float64 {
	if h.pairs == 0 {
		return 0
	}
	const ofPairs = 1.128379 // mean difference of two normal values, in standard deviations: 2/sqrt(pi)
	return h.apart / float64(h.pairs) / ofPairs
}
