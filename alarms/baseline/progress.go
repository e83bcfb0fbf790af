package baseline

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"time"

	"lightwell/collector"
)

// progressFormat is the version of what encodeProgress writes.
const progressFormat = 1

// storedProgress is the work under way at one unit, as it is stored.
type storedProgress struct {
	Format  int            `json:"format"`
	Capture *storedCapture `json:"capture,omitempty"`
	Learner *storedLearner `json:"learner,omitempty"`
}

type storedCapture struct {
	Model     string                      `json:"model"`
	By        string                      `json:"by"`
	Begun     time.Time                   `json:"begun"`
	Polls     int                         `json:"polls"`
	Failed    int                         `json:"failed"`
	Restarted bool                        `json:"restarted,omitempty"`
	Points    map[collector.Point][]stamp `json:"points"`
}

// stamp is a sample as it is stored.
type stamp struct {
	At    int64   `json:"at"`
	Value float64 `json:"v"`
}

type storedLearner struct {
	Version int           `json:"version"`
	Began   int64         `json:"began"`
	Now     int64         `json:"now"`
	Last    time.Time     `json:"last"`
	Quiet   time.Time     `json:"quiet,omitzero"`
	Outage  time.Time     `json:"outage,omitzero"`
	Every   time.Duration `json:"every"`
	Tracks  []storedTrack `json:"tracks"`
	Gauges  []storedGauge `json:"gauges"`
}

type storedTrack struct {
	Point collector.Point `json:"point"`
	Last  float64         `json:"last"`
	Usual int             `json:"usual"`
	Apart float64         `json:"apart"`
	Pairs int             `json:"pairs"`
	storedTape
}

type storedGauge struct {
	Unit   string  `json:"unit"`
	Port   string  `json:"port,omitempty"`
	Source Source  `json:"source"`
	First  float64 `json:"first"` // of its first hour
	Last   float64 `json:"last"`
	Usual  int     `json:"usual"`
	storedTape
}

type storedTape struct {
	Newest int64   `json:"newest"`
	Ref    float64 `json:"ref"`
	Step   float64 `json:"step"`
	Slots  []byte  `json:"slots"` // two bytes an hour, from the oldest to the newest
}

// encodeProgress returns what is to be stored of a unit; nil: nothing.
func encodeProgress(c *capture, l *learner, model string) []byte {
	if c == nil && l == nil {
		return nil
	}
	p := storedProgress{Format: progressFormat}
	if c != nil {
		p.Capture = c.store(model)
	}
	if l != nil {
		p.Learner = l.store()
	}
	data, err := json.Marshal(p)
	if err != nil { // a number that is none; there is no such in a capture
		return nil
	}
	return data
}

func decodeProgress(data []byte) (*storedProgress, error) {
	var p storedProgress
	if err := json.Unmarshal(data, &p); err != nil {
		return nil, fmt.Errorf("decode baseline under way: %w", err)
	}
	if p.Format != progressFormat {
		return nil, fmt.Errorf("decode baseline under way: format %d is not %d", p.Format, progressFormat)
	}
	return &p, nil
}

func (c *capture) store(model string) *storedCapture {
	out := &storedCapture{Model: model, By: c.by, Begun: c.begun, Polls: c.polls, Failed: c.failed, Restarted: c.restarted, Points: map[collector.Point][]stamp{}}
	for p, r := range c.points {
		for i := range r.samples {
			s := r.samples[(r.next+i)%len(r.samples)]
			out.Points[p] = append(out.Points[p], stamp{s.at, s.value})
		}
	}
	return out
}

func (s *storedCapture) restore() *capture {
	c := &capture{by: s.By, begun: s.Begun, polls: s.Polls, failed: s.Failed, restarted: s.Restarted, points: map[collector.Point]*ring{}}
	for p, stamps := range s.Points {
		r := &ring{}
		for _, at := range stamps {
			r.add(sample{at.At, at.Value}, len(stamps))
		}
		c.points[p] = r
	}
	return c
}

func (l *learner) store() *storedLearner {
	out := &storedLearner{Version: l.version, Began: l.began, Now: l.now, Last: l.last, Quiet: l.quiet, Outage: l.outage, Every: l.every}
	for p, t := range l.tracks {
		out.Tracks = append(out.Tracks, storedTrack{p, t.hour.last, t.hour.usual, t.hour.apart, t.hour.pairs, t.tape.store()})
	}
	for by, g := range l.gauges {
		if g.tape != nil {
			out.Gauges = append(out.Gauges, storedGauge{by.unit, by.port, by.source, g.ref, g.hour.last, g.hour.usual, g.tape.store()})
		}
	}
	return out
}

// restore gives a new learner of the same version what was stored; the hour
// under way then is lost.
func (s *storedLearner) restore(l *learner) {
	if s == nil || s.Version != l.version {
		return
	}
	l.began, l.now, l.last, l.quiet, l.outage, l.every = s.Began, s.Now, s.Last, s.Quiet, s.Outage, s.Every
	for _, t := range s.Tracks {
		if track, ok := l.tracks[t.Point]; ok {
			track.hour.last, track.hour.usual, track.hour.apart, track.hour.pairs = t.Last, t.Usual, t.Apart, t.Pairs
			track.tape = t.restore()
		}
	}
	for _, g := range s.Gauges {
		if gauge, ok := l.gauges[thermometer{g.Unit, g.Port, g.Source}]; ok {
			gauge.hour.last, gauge.hour.usual, gauge.ref, gauge.begun = g.Last, g.Usual, g.First, s.Now
			gauge.tape = g.restore()
		}
	}
}

func (t *tape) store() storedTape {
	out := storedTape{Newest: t.newest, Ref: t.ref, Step: t.step, Slots: make([]byte, 0, 2*window)}
	for h := t.newest - window + 1; h <= t.newest; h++ {
		v := int16(blank)
		if h > 0 {
			v = t.slots[h%window]
		}
		out.Slots = binary.LittleEndian.AppendUint16(out.Slots, uint16(v))
	}
	return out
}

func (s storedTape) restore() *tape {
	t := newTape(s.Ref, max(s.Step, math.SmallestNonzeroFloat64))
	if len(s.Slots) != 2*window || s.Newest < window {
		return t
	}
	t.newest = s.Newest
	for i := range window {
		h := s.Newest - window + 1 + int64(i)
		t.slots[h%window] = int16(binary.LittleEndian.Uint16(s.Slots[2*i:]))
	}
	return t
}
