package alarms

import (
	"cmp"
	"slices"
	"sync"
	"time"
)

// What the load figures count with, after common alarm practice (ISA-18.2,
// IEC 62682, EEMUA 191).
const (
	LoadInterval   = 10 * time.Minute
	loadKept       = 24 * time.Hour
	floodAbove     = 10 // a flood starts with an interval of more alarms
	floodBelow     = 5  // and ends with the first of fewer
	chatterRaises  = 3
	chatterWithin  = time.Minute
	fleetingWithin = 10 * time.Second
	staleAfter     = 24 * time.Hour
	topSources     = 10
	maxLoadRaises  = 50_000
)

// LoadFigures tell how much the alarms of the last 24 hours ask of the
// operators. They count announced alarms only: what was shelved, held back by
// planned work or kept behind its cause asks for nothing.
type LoadFigures struct {
	At           time.Time            `json:"at"`
	Since        time.Time            `json:"since"`           // what the figures cover: at most 24 hours
	Announced    int                  `json:"announced"`       // alarms announced since then
	LastInterval int                  `json:"last_10_minutes"` // in the 10 minutes to now
	Average      float64              `json:"average_per_10_minutes"`
	Intervals    []int                `json:"intervals"` // per full or begun 10 minutes of the clock, oldest first
	AboveTen     int                  `json:"intervals_above_10"`
	Floods       []Flood              `json:"floods"` // oldest first
	Chattering   []Key                `json:"chattering"`
	Fleeting     []Key                `json:"fleeting"`
	Stale        []Key                `json:"stale"` // announced and active for more than 24 hours
	Top          []LoadSource         `json:"top"`   // most frequent first
	Mix          map[Severity]float64 `json:"mix"`   // share of each severity in the announced alarms
}

// A Flood is a run of intervals in which alarms came faster than anybody can
// handle them.
type Flood struct {
	Start  time.Time `json:"start"`
	End    time.Time `json:"end,omitzero"` // zero: still going on
	Alarms int       `json:"alarms"`
	Peak   int       `json:"peak"` // most in one interval
}

// A LoadSource is one alarm and how often it was announced.
type LoadSource struct {
	Key
	Count int     `json:"count"`
	Share float64 `json:"share"` // of all announced
}

// FindFloods finds the floods in the counts of consecutive intervals, the
// first of which began at start: from an interval with more than 10 alarms to
// the last before the first with fewer than 5.
func FindFloods(start time.Time, counts []int) []Flood {
	var out []Flood
	open := false
	for i, n := range counts {
		at := start.Add(time.Duration(i) * LoadInterval)
		switch {
		case !open && n > floodAbove:
			open = true
			out = append(out, Flood{Start: at})
		case open && n < floodBelow:
			open = false
			out[len(out)-1].End = at
		}
		if open {
			f := &out[len(out)-1]
			f.Alarms += n
			f.Peak = max(f.Peak, n)
		}
	}
	return out
}

// loadMeter counts announced alarms. Safe for concurrent use.
type loadMeter struct {
	since time.Time

	mu     sync.Mutex
	raises []*loadRaise       // in the order they were announced
	open   map[Key]*loadRaise // the latest of each key, until cleared
}

type loadRaise struct {
	key      Key
	at       time.Time
	cleared  time.Time // zero: not yet
	severity Severity
	touched  bool // an operator did something with it
}

func (m *loadMeter) take(now time.Time, changes []Change) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, c := range changes {
		r := m.open[c.Alarm.Key]
		switch c.Kind {
		case Raised, Released:
			if c.Notify {
				m.add(now, &c.Alarm)
			}
		case ClearedChange, Purged:
			if r != nil {
				r.cleared = now
				delete(m.open, c.Alarm.Key)
			}
		case Acknowledged, Closed, Commented, ShelvedChange:
			if r != nil {
				r.touched = true
			}
		}
	}
}

func (m *loadMeter) add(now time.Time, a *Alarm) {
	if m.open == nil {
		m.open = map[Key]*loadRaise{}
	}
	old, n := now.Add(-loadKept-LoadInterval), 0
	for n < len(m.raises) && (m.raises[n].at.Before(old) || len(m.raises)-n >= maxLoadRaises) {
		n++
	}
	r := &loadRaise{key: a.Key, at: now, severity: a.Severity}
	m.raises = append(slices.Delete(m.raises, 0, n), r)
	m.open[r.key] = r
}

func (m *loadMeter) figures(now time.Time, l *List) LoadFigures {
	now = utc(now)
	since := m.since
	if first := now.Add(-loadKept); since.Before(first) {
		since = first
	}
	if since.After(now) { // the clock was set back
		since = now
	}
	out := LoadFigures{At: now, Since: utc(since), Mix: map[Severity]float64{}}
	m.mu.Lock()
	defer m.mu.Unlock()
	sources := map[Key][]*loadRaise{}
	for _, r := range m.raises {
		if r.at.Before(since) || r.at.After(now) {
			continue
		}
		out.Announced++
		if now.Sub(r.at) < LoadInterval {
			out.LastInterval++
		}
		out.Mix[r.severity]++
		sources[r.key] = append(sources[r.key], r)
	}
	for s := range out.Mix {
		out.Mix[s] /= float64(out.Announced)
	}
	out.Average = float64(out.Announced) / max(1, float64(now.Sub(since))/float64(LoadInterval))
	m.countIntervals(&out)
	out.judgeSources(sources)
	l.Each(Filter{Clearance: ClearanceNotCleared}, func(a *Alarm) bool {
		if a.Announced && now.Sub(a.LastRaised) > staleAfter {
			out.Stale = append(out.Stale, a.Key)
		}
		return true
	})
	return out
}

func (m *loadMeter) countIntervals(out *LoadFigures) {
	start := out.Since.Truncate(LoadInterval)
	out.Intervals = make([]int, int(out.At.Sub(start)/LoadInterval)+1)
	for _, r := range m.raises {
		if !r.at.Before(start) && !r.at.After(out.At) {
			out.Intervals[r.at.Sub(start)/LoadInterval]++
		}
	}
	for _, n := range out.Intervals {
		if n > floodAbove {
			out.AboveTen++
		}
	}
	out.Floods = FindFloods(start, out.Intervals)
}

func (out *LoadFigures) judgeSources(sources map[Key][]*loadRaise) {
	for k, raises := range sources {
		out.Top = append(out.Top, LoadSource{k, len(raises), float64(len(raises)) / float64(out.Announced)})
		if chatters(raises) {
			out.Chattering = append(out.Chattering, k)
		} else if anyFleeting(raises) {
			out.Fleeting = append(out.Fleeting, k)
		}
	}
	slices.SortFunc(out.Chattering, compareKeys)
	slices.SortFunc(out.Fleeting, compareKeys)
	slices.SortFunc(out.Top, func(a, b LoadSource) int {
		return cmp.Or(cmp.Compare(b.Count, a.Count), compareKeys(a.Key, b.Key))
	})
	out.Top = out.Top[:min(len(out.Top), topSources)]
}

// chatters tells whether an alarm was raised and cleared three times or more
// within a minute.
func chatters(raises []*loadRaise) bool {
	for i := chatterRaises - 1; i < len(raises); i++ {
		last := raises[i]
		if !last.cleared.IsZero() && last.cleared.Sub(raises[i-chatterRaises+1].at) <= chatterWithin {
			return true
		}
	}
	return false
}

// anyFleeting tells whether one of the raises was gone before anybody could
// do anything, and did not come back at once.
func anyFleeting(raises []*loadRaise) bool {
	for i, r := range raises {
		gone := !r.touched && !r.cleared.IsZero() && r.cleared.Sub(r.at) <= fleetingWithin
		if gone && (i+1 == len(raises) || raises[i+1].at.Sub(r.cleared) > chatterWithin) {
			return true
		}
	}
	return false
}
