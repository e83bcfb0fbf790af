package trend_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/drift"
	"lightwell/alarms/trend"
	"lightwell/collector"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var (
	start = time.Date(2026, 1, 5, 0, 0, 0, 0, time.UTC)
	rx    = collector.Point{Quantity: collector.OpticalReceivePower}
	tx    = collector.Point{Quantity: collector.OpticalTransmitPower}
	bias  = collector.Point{Quantity: collector.LaserBias}
	temp  = collector.Point{Quantity: collector.Temperature}
	up    = collector.Point{Quantity: collector.Uptime}
)

const half = 30 * time.Minute // between polls

// newFleet returns a site with a roof unit and a room unit, linked.
func newFleet(change ...func(*collector.Fleet)) *collector.Fleet {
	kind := collector.Equipment{Model: "pair", Points: []collector.Point{rx, tx, bias, temp, up}}
	f := collector.Fleet{
		Sites: []collector.Site{{ID: "ridge", Location: time.UTC}},
		Units: []collector.Unit{
			{ID: "roof", Site: "ridge", Role: collector.Outdoor, Via: "room", Equipment: kind},
			{ID: "room", Site: "ridge", Role: collector.Indoor, Equipment: kind},
		},
		Links: []collector.Link{{ID: "l", Outdoor: "roof", Indoor: "room", Downlink: collector.Path{Cable: "riser", Strand: 1}, Uplink: collector.Path{Cable: "riser", Strand: 2}}},
	}
	for _, c := range change {
		c(&f)
	}
	return collector.NewFleet(f)
}

// A stage plays polls of both units to a keeper.
type stage struct {
	t      testing.TB
	k      *trend.Keeper
	start  time.Time
	now    time.Time
	loss   func(day float64) float64 // of the downlink, dB
	weak   func(day float64) float64 // of the roof's laser, dB
	age    func(day float64) float64 // of the room's laser: share of bias
	swing  float64                   // dB per °C of the roof that the downlink follows
	outage func(day float64) bool
	past   *past // remembers the polls; nil: nothing does
}

func newStage(t testing.TB, cfg trend.Config) *stage {
	k, err := trend.New(cfg)
	require.NoError(t, err)
	k.SetFleet(newFleet())
	none := func(float64) float64 { return 0 }
	return &stage{t: t, k: k, start: start, now: start, loss: none, weak: none, age: none, outage: func(float64) bool { return false }}
}

func (s *stage) day() float64 { return s.now.Sub(s.start).Hours() / 24 }

// noise is a small, even, repeatable disturbance between -1 and 1.
func noise(t time.Time, salt int64) float64 {
	h := uint64(t.Unix()*2654435761 + salt*40503)
	h ^= h >> 29
	h *= 0xbf58476d1ce4e5b9
	h ^= h >> 32
	return float64(h%2048)/1024 - 1
}

// polls returns what both units read now.
func (s *stage) polls() []collector.Poll {
	day := s.day()
	sun := math.Sin(2 * math.Pi * day)
	roofC, roomC := 15+8*sun+3*math.Sin(2*math.Pi*day/9)+noise(s.now, 1), 24+noise(s.now, 2)
	read := func(unit string, v ...float64) collector.Poll {
		p := collector.Poll{Unit: unit, Started: s.now}
		for i, pt := range []collector.Point{rx, tx, bias, temp, up} {
			p.Readings = append(p.Readings, collector.Reading{Unit: unit, Point: pt, Value: v[i], Taken: s.now})
		}
		return p
	}
	hundredth := func(v float64) float64 { return math.Round(v*100) / 100 }
	down := -4 - s.loss(day) - s.weak(day) + s.swing*(roofC-15) + 0.02*noise(s.now, 3)
	uptime := s.now.Sub(s.start.Add(-240 * time.Hour)).Seconds()
	return []collector.Poll{
		read("roof", hundredth(-5+0.02*noise(s.now, 4)), hundredth(3-s.weak(day)+0.01*noise(s.now, 5)), 20*math.Exp((roofC-25)/60), roofC, uptime),
		read("room", hundredth(down), hundredth(3+0.01*noise(s.now, 6)), 20*math.Exp((roomC-25)/60)*(1+s.age(day)), roomC, uptime),
	}
}

// play plays until a day.
func (s *stage) play(until float64) {
	for ; s.day() < until; s.now = s.now.Add(half) {
		if !s.outage(s.day()) {
			for _, p := range s.polls() {
				s.k.Observe(p)
				if s.past != nil {
					s.past.polls = append(s.past.polls, p)
				}
			}
		}
	}
}

func (s *stage) point(unit string, p collector.Point) alarms.PointTrend {
	s.t.Helper()
	all, _ := s.k.Trends(unit, math.MaxUint64)
	for _, t := range all {
		if t.Point == p {
			return t
		}
	}
	require.Fail(s.t, "not followed", "%s %s", unit, p)
	return alarms.PointTrend{}
}

func (s *stage) trend(unit string, p collector.Point) drift.Trend {
	s.t.Helper()
	t := s.point(unit, p)
	require.NotNil(s.t, t.Trend)
	return *t.Trend
}

// levels are accepted baselines.
type levels map[string]map[collector.Point]baseline.Level

func (l levels) Levels(unit string) (map[collector.Point]baseline.Level, bool) {
	of, ok := l[unit]
	return of, ok
}

func accepted(at time.Time) levels {
	one := func(rxDBm float64) map[collector.Point]baseline.Level {
		return map[collector.Point]baseline.Level{
			rx: {Value: rxDBm, Spread: 0.02, Quantum: 0.01, CapturedAt: at},
			tx: {Value: 3, Spread: 0.01, Quantum: 0.01, CapturedAt: at},
		}
	}
	return levels{"roof": one(-5), "room": one(-4)}
}

// ramp grows from a day on.
func ramp(from, perMonth float64) func(float64) float64 {
	return func(day float64) float64 { return max(0, day-from) * perMonth / 30.4375 }
}

func step(at, size float64) func(float64) float64 {
	return func(day float64) float64 {
		if day < at {
			return 0
		}
		return size
	}
}
