package baseline_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/baseline"
	"lightwell/collector"
)

var (
	start = time.Date(2026, 11, 1, 9, 0, 0, 0, time.UTC)
	rx    = collector.Point{Quantity: collector.OpticalReceivePower}
	bias  = collector.Point{Quantity: collector.LaserBias}
	temp  = collector.Point{Quantity: collector.Temperature}
	state = collector.Point{Quantity: collector.SupplyState, Port: "a"}
)

func fleet(model string, units ...string) *collector.Fleet {
	var f collector.Fleet
	for _, id := range units {
		f.Units = append(f.Units, collector.Unit{ID: id, Site: "s", Equipment: collector.Equipment{
			Model: model, Points: []collector.Point{rx, bias, temp, state},
		}})
	}
	return collector.NewFleet(f)
}

// a bench is a book with a clock and a unit that answers as told.
type bench struct {
	t     *testing.T
	store *store
	book  *baseline.Book
	now   time.Time
}

func newBench(t *testing.T) *bench {
	b := &bench{t: t, store: &store{}, now: start}
	b.reopen()
	return b
}

func (b *bench) reopen() {
	book, err := baseline.NewBook(b.store, baseline.Default())
	require.NoError(b.t, err)
	book.SetFleet(fleet("m", "u", "v"))
	b.book = book
}

// poll answers with the values given, leaving out points that are NaN.
func (b *bench) poll(unit string, values map[collector.Point]float64) {
	b.now = b.now.Add(time.Minute)
	p := collector.Poll{Unit: unit, Started: b.now}
	for at, v := range values {
		p.Readings = append(p.Readings, collector.Reading{Unit: unit, Point: at, Value: v, Taken: b.now})
	}
	b.book.Observe(p)
}

// collect polls n times with a quiet, healthy unit.
func (b *bench) collect(unit string, n int) {
	r := rand.New(rand.NewPCG(7, 7))
	for range n {
		b.poll(unit, map[collector.Point]float64{rx: -3.2 + 0.02*r.NormFloat64(), bias: 23 + 0.01*r.NormFloat64(), temp: 31, state: 0})
	}
}

func (b *bench) accept(units ...string) error {
	return b.book.Accept(units, "engineer", "", false, b.now)
}

func TestCommissionAUnit(t *testing.T) {
	b := newBench(t)
	require.Equal(t, baseline.Commissioning, b.book.State("u"))
	require.NoError(t, b.book.Begin([]string{"u"}, "engineer", b.now))
	require.Equal(t, baseline.Capturing, b.book.State("u"))
	b.collect("u", 9)
	shown := b.book.Show("u", b.now)
	require.False(t, shown.Ready)
	require.Contains(t, fmt.Sprint(shown.Reasons), "has 9 readings, 10 are needed")
	_, ok := b.book.Levels("u")
	require.False(t, ok, "commissioning")

	b.collect("u", 1)
	shown = b.book.Show("u", b.now)
	require.True(t, shown.Ready, shown.Reasons)
	require.Equal(t, 9*time.Minute, shown.Progress)
	require.Len(t, shown.Points, 2, "temperature and states are not compared")
	require.NoError(t, b.accept("u"))

	levels, ok := b.book.Levels("u")
	require.True(t, ok)
	require.InDelta(t, -3.2, levels[rx].Value, 0.02)
	require.InDelta(t, 0.02, levels[rx].Spread, 0.015)
	require.InDelta(t, 31, levels[rx].TempRefC, 1e-9)
	require.Zero(t, levels[rx].TempCoeff)
	require.Equal(t, 10, levels[rx].Samples)
	require.Equal(t, b.now, levels[rx].CapturedAt)
	require.Equal(t, baseline.Accepted, b.book.State("u"))
	_, ok = b.book.Levels("v")
	require.False(t, ok)
}

func TestRefusalsNameTheRemedy(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(b *bench) error
		is   error
		text string
	}{
		{"begin unknown", func(b *bench) error { return b.book.Begin([]string{"u", "x"}, "e", b.now) }, baseline.ErrUnknownUnit, `"x": not in the fleet; use an id`},
		{"begin nobody", func(b *bench) error { return b.book.Begin([]string{"u"}, " ", b.now) }, baseline.ErrNoName, "say who"},
		{"begin nothing", func(b *bench) error { return b.book.Begin(nil, "e", b.now) }, baseline.ErrNoUnits, "name at least one"},
		{"accept unknown", func(b *bench) error { return b.accept("x") }, baseline.ErrUnknownUnit, "use an id"},
		{"accept not begun", func(b *bench) error { return b.accept("u") }, baseline.ErrNotBegun, "begin one"},
		{"accept nothing collected", func(b *bench) error {
			require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
			return b.accept("u")
		}, baseline.ErrNoSamples, "no poll yet: wait"},
		{"force nothing collected", func(b *bench) error {
			require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
			b.book.Observe(collector.Poll{Unit: "u", Started: b.now, Err: collector.ErrNoAnswer})
			return b.book.Accept([]string{"u"}, "e", "must", true, b.now)
		}, baseline.ErrNoSamples, "has not answered any of 1 polls"},
		{"too short", func(b *bench) error {
			require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
			b.collect("u", 3)
			return b.accept("u")
		}, baseline.ErrNotReady, "or force it and give a reason"},
		{"force without reason", func(b *bench) error {
			require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
			b.collect("u", 3)
			return b.book.Accept([]string{"u"}, "e", "  ", true, b.now)
		}, baseline.ErrNoReason, "say why"},
		{"again without reason", func(b *bench) error {
			require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
			b.collect("u", 10)
			require.NoError(t, b.accept("u"))
			require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
			b.collect("u", 10)
			return b.accept("u")
		}, baseline.ErrNoReason, "since version 1 of 2026-11-01"},
	} {
		t.Run(c.name, func(t *testing.T) {
			err := c.do(newBench(t))
			require.ErrorIs(t, err, c.is)
			require.ErrorContains(t, err, c.text)
		})
	}
}

func TestWhatKeepsACaptureFromBeingReady(t *testing.T) {
	const n = 30
	for _, c := range []struct {
		name  string
		value func(i int) float64 // receive power, dBm
		want  string              // "" = ready
	}{
		{"steady", func(int) float64 { return -3.2 }, ""},
		{"one quantum to and fro", func(i int) float64 { return -3.2 + 0.1*float64(i%2) }, ""},
		{"quantised, last third one step up", func(i int) float64 { return -3.2 + 0.1*float64(i/20) }, ""},
		{"drift just allowed", func(i int) float64 { return -3.2 + 0.0049*float64(i) }, ""},
		{"drift", func(i int) float64 { return -3.2 - 0.1*float64(i) }, "drifts: the last third is -2.00 dB off the first"},
		{"step in the middle", func(i int) float64 { return -3.2 - 1.5*float64(i/15) }, "drifts"},
		{"one jump", func(i int) float64 { return -3.2 - 1.5*b2f(i == 14) }, "jumps between -4.70 dBm and -3.20 dBm, a span of 1.00 dB is allowed"},
		{"a small jump", func(i int) float64 { return -3.2 - 0.9*b2f(i == 14) }, ""},
		{"dark", func(int) float64 { return -45 }, "no light"},
		{"just not dark", func(int) float64 { return -29.9 }, ""},
		{"dark at the limit", func(int) float64 { return -30 }, "no light"},
	} {
		t.Run(c.name, func(t *testing.T) {
			b := newBench(t)
			require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
			for i := range n {
				b.poll("u", map[collector.Point]float64{rx: c.value(i), bias: 23})
			}
			shown := b.book.Show("u", b.now)
			if c.want == "" {
				require.True(t, shown.Ready, shown.Reasons)
				return
			}
			require.False(t, shown.Ready)
			require.Len(t, shown.Reasons, 1)
			require.Contains(t, shown.Reasons[0], c.want)
			require.Contains(t, shown.Reasons[0], rx.String())
		})
	}
}

func b2f(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func TestMissingPoint(t *testing.T) {
	b := newBench(t)
	require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
	for range 12 {
		b.poll("u", map[collector.Point]float64{rx: -3})
	}
	shown := b.book.Show("u", b.now)
	require.Equal(t, []collector.Point{bias}, shown.Missing)
	require.ErrorIs(t, b.accept("u"), baseline.ErrNotReady)
	require.NoError(t, b.book.Accept([]string{"u"}, "e", "bias sensor not fitted", true, b.now))
	h := b.book.History("u")
	require.Len(t, h, 1)
	require.True(t, h[0].Forced)
	require.Equal(t, "bias sensor not fitted", h[0].Reason)
	require.Contains(t, fmt.Sprint(h[0].Findings), "no reading of laser_bias")
	levels, _ := b.book.Levels("u")
	require.Contains(t, levels, rx)
	require.NotContains(t, levels, bias)
}

func TestNoLightNeverBecomesALevel(t *testing.T) {
	b := newBench(t)
	require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
	for range 12 {
		b.poll("u", map[collector.Point]float64{rx: -45, bias: 23})
	}
	require.NoError(t, b.book.Accept([]string{"u"}, "e", "fibre comes tomorrow", true, b.now))
	levels, _ := b.book.Levels("u")
	require.NotContains(t, levels, rx)
	require.Contains(t, levels, bias)
}

// TestSpareReceivers: a roof unit with four receivers and two links.
func TestSpareReceivers(t *testing.T) {
	b := newBench(t)
	var points []collector.Point
	for _, port := range []string{"4", "1", "3", "2"} {
		points = append(points, collector.Point{Quantity: collector.OpticalReceivePower, Port: port})
	}
	f := collector.Fleet{Units: []collector.Unit{{ID: "u", Equipment: collector.Equipment{Model: "m", Points: points}}, {ID: "v"}, {ID: "w"}}}
	f.Links = []collector.Link{{ID: "l1", Outdoor: "u", Indoor: "v"}, {ID: "l2", Outdoor: "u", Indoor: "w"}}
	b.book.SetFleet(collector.NewFleet(f))
	for _, c := range []struct {
		dark string // port
		want bool
	}{{"", true}, {"2", false}} {
		require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
		for range 12 {
			b.poll("u", map[collector.Point]float64{points[1]: -3, points[3]: -3 - 42*b2f(c.dark == "2"), points[2]: -45})
		}
		require.Equal(t, c.want, b.book.Show("u", b.now).Ready, "%v", b.book.Show("u", b.now).Reasons)
	}
}

func TestOnlyFreshGoodReadingsCount(t *testing.T) {
	b := newBench(t)
	require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
	at := b.now.Add(time.Second)
	reading := func(v float64, q collector.Quality, age time.Duration) {
		b.book.Observe(collector.Poll{Unit: "u", Started: at, Readings: []collector.Reading{{Point: rx, Value: v, Quality: q, Taken: at, Age: age}}})
		at = at.Add(time.Minute)
	}
	reading(-3, collector.Good, 0)
	reading(-9, collector.Broken, 0)
	reading(-9, collector.Unavailable, 0)
	reading(-9, collector.OutOfRange, 0)
	reading(-9, collector.Good, time.Hour)                                                                                                        // measured before the first
	b.book.Observe(collector.Poll{Unit: "u", Started: start.Add(-time.Second), Readings: []collector.Reading{{Point: rx, Value: -9, Taken: at}}}) // under way when the capture began
	b.book.Observe(collector.Poll{Unit: "u", Started: at, Err: collector.ErrNoAnswer})
	b.book.Observe(collector.Poll{Unit: "nobody", Started: at})
	shown := b.book.Show("u", at)
	require.Equal(t, 1, shown.Points[0].Level.Samples)
	require.InDelta(t, -3, shown.Points[0].Level.Value, 1e-9)
	require.Equal(t, 1, shown.Failed)
}

func TestARestartBeginsAnew(t *testing.T) {
	b := newBench(t)
	require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
	b.collect("u", 20)
	b.book.Observe(collector.Poll{Unit: "u", Started: b.now, Restarted: true})
	require.Contains(t, fmt.Sprint(b.book.Show("u", b.now).Reasons), "no reading of")
	b.collect("u", 10)
	require.True(t, b.book.Show("u", b.now).Ready)
}

func TestVersionsAreKeptAcrossARestart(t *testing.T) {
	b := newBench(t)
	for i, reason := range []string{"", "connector cleaned", "laser exchanged"} {
		require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
		b.collect("u", 10)
		require.NoError(t, b.book.Accept([]string{"u"}, "e", reason, false, b.now), i)
	}
	before := b.book.History("u")
	before[0].Levels[rx] = baseline.Level{Value: 99} // the caller's copy
	b.reopen()
	h := b.book.History("u")
	require.Len(t, h, 3)
	for i := range h {
		require.Equal(t, i+1, h[i].Version)
	}
	require.InDelta(t, -3.2, h[0].Levels[rx].Value, 0.05)
	require.Equal(t, "laser exchanged", h[2].Reason)
	require.Equal(t, before[1], h[1])
	_, ok := b.book.Levels("u")
	require.True(t, ok)
}

func TestAcceptIsAllOrNone(t *testing.T) {
	b := newBench(t)
	require.NoError(t, b.book.Begin([]string{"u", "v"}, "e", b.now))
	b.collect("u", 10)
	require.ErrorIs(t, b.accept("u", "v"), baseline.ErrNoSamples)
	require.Empty(t, b.book.History("u"))
	b.collect("v", 10)
	require.NoError(t, b.accept("v", "u", "v"))
	require.Len(t, b.book.History("v"), 1)
}

func TestNothingCountsThatIsNotStored(t *testing.T) {
	b := newBench(t)
	require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
	b.collect("u", 10)
	b.store.fail = errors.New("disk full")
	err := b.accept("u")
	require.ErrorIs(t, err, baseline.ErrNotStored)
	require.ErrorContains(t, err, "disk full")
	_, ok := b.book.Levels("u")
	require.False(t, ok)
	require.Equal(t, baseline.Capturing, b.book.State("u"), "nothing lost")
	require.ErrorIs(t, b.accept("u"), baseline.ErrNotStored, "still")
	b.store.fail = nil
	require.NoError(t, b.accept("u"))
}

// A store whose answer was lost may have stored the records: they count, and
// their version is not given to others.
func TestAnswerOfTheStoreIsLost(t *testing.T) {
	b := newBench(t)
	require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
	b.collect("u", 10)
	b.store.lost = errors.New("connection broken")
	require.ErrorIs(t, b.accept("u"), baseline.ErrNotStored)
	b.store.lost = nil
	require.ErrorIs(t, b.accept("u"), baseline.ErrNoReason, "version 1 is there")
	require.NoError(t, b.book.Accept([]string{"u"}, "e", "again", false, b.now))
	require.Len(t, b.book.History("u"), 2)
	require.Equal(t, 2, b.book.History("u")[1].Version)
}

func TestABaselineIsOfItsModel(t *testing.T) {
	b := newBench(t)
	require.NoError(t, b.book.Begin([]string{"u", "v"}, "e", b.now))
	b.collect("u", 10)
	require.NoError(t, b.accept("u"))
	b.book.SetFleet(fleet("other", "u", "v"))
	_, ok := b.book.Levels("u")
	require.False(t, ok, "another box stands there now")
	require.Equal(t, baseline.Commissioning, b.book.State("v"), "its capture ended")
	require.Len(t, b.book.History("u"), 1)
	b.book.SetFleet(fleet("m", "u"))
	_, ok = b.book.Levels("u")
	require.True(t, ok)
}

func TestShowWithoutACapture(t *testing.T) {
	b := newBench(t)
	require.Contains(t, b.book.Show("x", b.now).Reasons[0], "not in the fleet")
	shown := b.book.Show("u", b.now)
	require.Equal(t, baseline.Commissioning, shown.State)
	require.Contains(t, shown.Reasons[0], "no capture begun")
}

func TestShowComparesWithWhatIsInForce(t *testing.T) {
	b := newBench(t)
	require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
	b.collect("u", 10)
	require.NoError(t, b.accept("u"))
	require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
	b.poll("u", map[collector.Point]float64{rx: -5})
	shown := b.book.Show("u", b.now)
	require.InDelta(t, -3.2, shown.Points[0].Accepted.Value, 0.05)
	_, ok := b.book.Levels("u")
	require.True(t, ok, "the old one stays in force")
}

func TestRecordsThatCannotBeRead(t *testing.T) {
	_, err := baseline.NewBook(&store{rows: [][]byte{[]byte(`{`)}}, baseline.Default())
	require.ErrorContains(t, err, "read baselines")
}

func TestConfigTellsAllFaultsAtOnce(t *testing.T) {
	require.NoError(t, baseline.Default().Validate())
	_, err := baseline.NewBook(&store{}, baseline.Config{MinSamples: 2, MaxSamples: 1, MinTime: -1, DriftDB: -1})
	for _, want := range []string{"minimum samples 2", "maximum samples 1", "minimum time", "drift in dB"} {
		require.ErrorContains(t, err, want)
	}
}

func TestConcurrentUse(t *testing.T) {
	b := newBench(t)
	var all sync.WaitGroup
	for _, do := range []func(){
		func() { b.book.SetFleet(fleet("m", "u", "v")) },
		func() { b.book.Levels("u") },
		func() { b.book.Show("u", start) },
		func() { b.book.State("u") },
		func() { b.book.History("u") },
		func() { b.book.Refinements("u") },
		func() { _, _ = b.book.Keep(start.Add(time.Hour), true) },
		func() { _ = b.book.Begin([]string{"u"}, "e", start) },
		func() { _ = b.book.Accept([]string{"u"}, "e", "r", true, start.Add(time.Hour)) },
		func() {
			b.book.Observe(collector.Poll{Unit: "u", Started: start, Readings: []collector.Reading{{Point: rx, Value: -3, Taken: start}}})
		},
	} {
		all.Go(func() {
			for range 200 {
				do()
			}
		})
	}
	all.Wait()
	for i, r := range b.book.History("u") {
		require.Equal(t, i+1, r.Version)
	}
}

func TestDeviation(t *testing.T) {
	l := baseline.Level{Value: -3, TempRefC: 20, TempCoeff: -0.05}
	require.InDelta(t, -2, l.Deviation(-5, 40, false), 1e-9)
	require.InDelta(t, -1, l.Deviation(-5, 40, true), 1e-9)
	require.InDelta(t, -2, l.Deviation(-5, 20, true), 1e-9)
}

func BenchmarkLevels(b *testing.B) {
	s := &store{}
	book, err := baseline.NewBook(s, baseline.Default())
	require.NoError(b, err)
	book.SetFleet(fleet("m", "u"))
	b.ReportAllocs()
	for b.Loop() {
		book.Levels("u")
	}
}

func BenchmarkObserveWithoutACapture(b *testing.B) {
	book, err := baseline.NewBook(&store{}, baseline.Default())
	require.NoError(b, err)
	p := collector.Poll{Unit: "u", Readings: make([]collector.Reading, 10)}
	b.ReportAllocs()
	for b.Loop() {
		book.Observe(p)
	}
}
