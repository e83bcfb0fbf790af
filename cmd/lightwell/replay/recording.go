package replay

import (
	"cmp"
	"iter"
	"slices"
	"time"

	"lightwell/collector"
)

// A Recording holds readings in 24 bytes each. Files are added in any order;
// All gives their polls by time.
type Recording struct {
	units   names[string]
	points  names[collector.Point]
	samples []sample
	ordered bool // samples are sorted, and those of one poll share a time
}

// sample is one reading, or one poll that failed.
type sample struct {
	at      int64 // Unix nanoseconds
	value   float64
	unit    int32
	point   int16 // failedPoll: the poll failed, by the error at value
	quality collector.Quality
}

const failedPoll = -1

// failures are the ways in which a poll can fail, by the word in a file.
var failures = []struct {
	word string
	err  error
}{
	{"no_answer", collector.ErrNoAnswer},
	{"refused", collector.ErrRefused},
	{"malformed", collector.ErrMalformed},
}

// together is how long after its first reading a poll may bring another. It
// is less than half of the shortest period that is sensible.
const together = 4 * time.Second

// names numbers things in the order in which they come.
type names[T comparable] struct {
	all   []T
	index map[T]int
}

func (n *names[T]) number(name T) int {
	i, ok := n.index[name]
	if !ok {
		if n.index == nil {
			n.index = map[T]int{}
		}
		i = len(n.all)
		n.index[name] = i
		n.all = append(n.all, name)
	}
	return i
}

// Len returns how many readings there are, failed polls included.
func (r *Recording) Len() int { return len(r.samples) }

// Span returns the times of the first and the last reading; zero when there
// is none.
func (r *Recording) Span() (first, last time.Time) {
	if len(r.samples) == 0 {
		return first, last
	}
	r.arrange()
	return instant(r.samples[0].at), instant(r.samples[len(r.samples)-1].at)
}

// Points returns the points of each unit that has readings, in the order in
// which they came.
func (r *Recording) Points() map[string][]collector.Point {
	type pair struct {
		unit  int32
		point int16
	}
	seen, out := map[pair]bool{}, make(map[string][]collector.Point, len(r.units.all))
	for _, id := range r.units.all {
		out[id] = nil
	}
	for i := range r.samples {
		s := &r.samples[i]
		if p := (pair{s.unit, s.point}); s.point != failedPoll && !seen[p] {
			seen[p] = true
			id := r.units.all[s.unit]
			out[id] = append(out[id], r.points.all[s.point])
		}
	}
	return out
}

// All gives the polls by time; those of one time in the order in which the
// units came. The readings of a poll are only valid until the next one.
func (r *Recording) All() iter.Seq[collector.Poll] { return r.polls(nil) }

// polls is All for the wanted units; nil: of all. Once Span has been called
// it may be used by several goroutines.
func (r *Recording) polls(wanted []bool) iter.Seq[collector.Poll] {
	r.arrange()
	return func(yield func(collector.Poll) bool) {
		lives := make([]lifetime, len(r.units.all))
		var readings []collector.Reading
		for i := 0; i < len(r.samples); {
			first := &r.samples[i]
			if wanted != nil && !wanted[first.unit] {
				i++
				continue
			}
			p := collector.Poll{Unit: r.units.all[first.unit], Started: instant(first.at)}
			readings = readings[:0]
			for ; i < len(r.samples) && r.samples[i].at == first.at && r.samples[i].unit == first.unit; i++ {
				if s := &r.samples[i]; s.point == failedPoll {
					p.Err = failures[int(s.value)].err
				} else {
					readings = append(readings, collector.Reading{Unit: p.Unit, Point: r.points.all[s.point], Value: s.value, Quality: s.quality, Taken: p.Started})
				}
			}
			if len(readings) > 0 {
				p.Err, p.Readings = nil, readings
				p.Restarted = lives[first.unit].restarted(readings)
			}
			if !yield(p) {
				return
			}
		}
	}
}

// arrange sorts the readings by time and unit and gives the readings of one
// poll, which may be some milliseconds apart, the time of the first.
func (r *Recording) arrange() {
	if r.ordered {
		return
	}
	r.ordered = true
	r.sort()
	starts := make([]int64, len(r.units.all)) // of the poll under way
	last := map[[2]int]int64{}                // by unit and point: start of the poll it came in last
	for i := range r.samples {
		s := &r.samples[i]
		key := [2]int{int(s.unit), int(s.point)}
		start := starts[s.unit]
		if before, ok := last[key]; start == 0 || s.at-start > int64(together) || ok && before == start && s.at != start {
			start = s.at
		}
		starts[s.unit], last[key] = start, start
		s.at = start
	}
	r.sort()
}

func (r *Recording) sort() {
	if !slices.IsSortedFunc(r.samples, byTime) {
		slices.SortFunc(r.samples, byTime)
	}
}

func byTime(a, b sample) int {
	switch {
	case a.at != b.at:
		return cmp.Compare(a.at, b.at)
	case a.unit != b.unit:
		return cmp.Compare(a.unit, b.unit)
	}
	return cmp.Compare(a.point, b.point)
}

func instant(at int64) time.Time { return time.Unix(0, at).UTC() }

// lifetime remembers the last uptime of a unit.
type lifetime struct {
	uptime time.Duration
	taken  time.Time
}

func (l *lifetime) restarted(readings []collector.Reading) bool {
	for i := range readings {
		r := &readings[i]
		if r.Point.Quantity != collector.Uptime || r.Quality != collector.Good {
			continue
		}
		before := *l
		l.uptime, l.taken = time.Duration(r.Value*float64(time.Second)), r.Taken
		return !before.taken.IsZero() && collector.Restarted(before.uptime, l.uptime, l.taken.Sub(before.taken))
	}
	return false
}
