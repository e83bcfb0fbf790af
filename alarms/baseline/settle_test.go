package baseline_test

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// quiet feeds days of half-hour polls of a sound link: -3.2 dBm at 30 °C of
// the roof, -0.02 dB/°C, the room at 21 °C. other changes what is read; NaN
// leaves a poll out.
func (s *school) quiet(days float64, other func(days, value float64) float64) {
	r := rand.New(rand.NewPCG(1, uint64(s.now.Unix())))
	begin := s.now.Add(30 * time.Minute).Truncate(30 * time.Minute)
	for at := begin; at.Before(begin.Add(time.Duration(days * 24 * float64(time.Hour)))); at = at.Add(30 * time.Minute) {
		d := at.Sub(monday).Hours() / 24
		roofC := 30 + 8*math.Sin(2*math.Pi*d) + 2*math.Sin(2*math.Pi*d/5)
		v := math.Round(100*(-3.2-0.02*(roofC-30)+0.03*r.NormFloat64())) / 100
		if other != nil {
			v = other(d, v)
		}
		if !math.IsNaN(v) {
			s.poll(at, v, 21+0.2*r.NormFloat64(), roofC+0.2*r.NormFloat64())
		}
	}
}

func (s *school) learning() baseline.PointLearning {
	l := s.book.Show("u", s.now).Learning
	require.NotNil(s.t, l)
	require.Equal(s.t, rx, l.Points[0].Point)
	return l.Points[0]
}

func TestPhasesOfALevel(t *testing.T) {
	s := newSchool(t)
	require.Nil(t, s.book.Show("u", s.now).Learning, "nothing is in force")
	s.commission(-3.2, 21, 30)
	accepted := s.level()
	require.Equal(t, baseline.Visit, accepted.Phase)
	s.quiet(0.9, nil)
	s.keep()
	require.Equal(t, baseline.Visit, s.level().Phase)
	require.Contains(t, fmt.Sprint(s.learning().Reasons), "h to go of the 24 h that are needed")

	s.quiet(1, nil)
	s.keep()
	provisional := s.level()
	require.Equal(t, baseline.Provisional, provisional.Phase)
	require.InDelta(t, -0.02, provisional.TempCoeff, 0.008)
	require.Contains(t, fmt.Sprint(s.learning().Reasons), "of the 336 h that are needed")

	s.quiet(13, nil)
	s.keep()
	final := s.level()
	require.Equal(t, baseline.Final, final.Phase)
	require.Equal(t, baseline.Final, s.book.Show("u", s.now).Learning.Phase)
	require.InDelta(t, -0.02, final.TempCoeff, 0.002)
	require.Less(t, final.TempCoeffSE, 0.002)
	require.Equal(t, baseline.FarEnd, final.TempSource)
	require.Equal(t, "roof", final.TempUnit)
	require.Greater(t, final.TempSpanC, 15.0)
	require.InDelta(t, 30, final.TempRefC, 5, "the roof at the visit")
	require.InDelta(t, 0.03, final.Spread, 0.01)
	require.InDelta(t, -3.2-0.02*(final.TempRefC-30), final.Settled, 0.02)
	require.Empty(t, final.Note)

	// What was accepted is as it was; what was learnt stands beside it.
	require.Equal(t, accepted.Value, final.Value)
	require.Equal(t, accepted.CapturedAt, final.CapturedAt)
	require.Equal(t, accepted, s.book.History("u")[0].Levels[rx])
	refinements := s.book.Refinements("u")
	require.Len(t, refinements, 2)
	require.Equal(t, provisional, refinements[0].Levels[rx])
	require.Equal(t, final, refinements[1].Levels[rx])
	progress, err := s.store.Progress()
	require.NoError(t, err)
	require.Empty(t, progress, "nothing is left to learn")
	s.open()
	require.Equal(t, final, s.level(), "it is in force after a restart")
}

// TestWhatKeepsALevelFromBeingFinal: the criteria, one by one.
func TestWhatKeepsALevelFromBeingFinal(t *testing.T) {
	for _, c := range []struct {
		name  string
		other func(days, value float64) float64
		want  string // "" = final
	}{
		{"sound", nil, ""},
		{"a night of bad weather", func(d, v float64) float64 { return v - 0.2*b2f(d > 6 && d < 6.5) }, ""},
		{"garbage", func(d, v float64) float64 { return v - 20*b2f(math.Mod(d*48, 211) < 1) }, ""},
		{"drift", func(d, v float64) float64 { return v - 0.02*d }, "it changes by -0.6"},
		{"unsteady halves", func(d, v float64) float64 { return v - 0.12*b2f(d > 8) }, "its second week is -0.1"},
		{"step", func(d, v float64) float64 { return v - 0.8*b2f(d > 10.5) }, "it jumped by -0.80 dB about 2026-03-12 1"},
		{"dark yesterday", func(d, v float64) float64 { return v - 40*b2f(d > 13.3 && d < 13.4) }, "it was not read, restarted or was dark at 2026-03-15 09"},
		{"dark last week", func(d, v float64) float64 { return v - 40*b2f(d > 8 && d < 8.1) }, ""},
		{"read too seldom", func(d, v float64) float64 {
			if d > 11 && d < 11.4 {
				return math.NaN()
			}
			return v
		}, "of the 24 hours up to 2026-03-1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newSchool(t)
			s.commission(-3.2, 21, 30)
			s.quiet(14.2, c.other)
			s.keep()
			if c.want == "" {
				require.Equal(t, baseline.Final, s.level().Phase, s.learning().Reasons)
				return
			}
			require.Equal(t, baseline.Provisional, s.level().Phase)
			require.Contains(t, fmt.Sprint(s.learning().Reasons), c.want)
		})
	}
}

// A link that comes to rest later is final later.
func TestALevelIsFinalOnceItIsAtRest(t *testing.T) {
	s := newSchool(t)
	s.commission(-3.2, 21, 30)
	step := func(d, v float64) float64 { return v - 0.8*b2f(d > 10.5) }
	s.quiet(15, step)
	require.Equal(t, baseline.Provisional, s.level().Phase)
	s.quiet(14, step)
	s.keep()
	l := s.level()
	require.Equal(t, baseline.Final, l.Phase)
	require.InDelta(t, -3.2, l.Value, 0.01, "the accepted value stays")
	require.Contains(t, l.Note, "has settled -0.8", "and the level says that the link does not agree")
	require.Contains(t, l.Note, "at the next visit see why, and accept anew")
}

func TestATemperatureThatDoesNotMoveExplainsNothing(t *testing.T) {
	s := newSchool(t)
	s.commission(-3.2, 21, 30)
	for n := range 15 * 48 {
		s.poll(monday.Add(time.Hour+time.Duration(n)*30*time.Minute), -3.2+0.01*float64(n%3), 21+float64(n%4), 30)
	}
	l := s.level()
	require.Equal(t, baseline.Final, l.Phase)
	require.Zero(t, l.TempCoeff)
	require.InDelta(t, 0.02, l.TempCoeffSE, 1e-9, "the prior")
	require.Less(t, l.TempSpanC, 5.0)
	require.Empty(t, l.TempSource)
	require.Contains(t, l.Note, "no temperature has moved by 5 °C yet")
	require.Contains(t, l.Note, "±0.02 dB/°C")
}

// With one thermometer broken from the start the other does what it can.
func TestTheOwnCaseExplainsWithoutAFarEnd(t *testing.T) {
	s := newSchool(t)
	s.commission(-3.2, 30, math.NaN())
	for n := range 15 * 48 {
		at := monday.Add(time.Hour + time.Duration(n)*30*time.Minute)
		c := 30 + 8*math.Sin(2*math.Pi*float64(n)/48)
		s.poll(at, -3.2+0.015*(c-30), c, math.NaN())
	}
	l := s.level()
	require.Equal(t, baseline.OwnCase, l.TempSource)
	require.Empty(t, l.TempUnit)
	require.InDelta(t, 0.015, l.TempCoeff, 5e-4)
	require.InDelta(t, 30, l.TempRefC, 1e-9, "as accepted")
}

// A restart at any time loses no more than the hour under way.
func TestLearningSurvivesRestarts(t *testing.T) {
	whole, parts := newSchool(t), newSchool(t)
	for _, s := range []*school{whole, parts} {
		s.commission(-3.2, 21, 30)
	}
	for range 16 {
		whole.quiet(1, nil)
		parts.quiet(1, nil)
		_, err := parts.book.Keep(parts.now, true)
		require.NoError(t, err)
		parts.open()
	}
	whole.keep()
	parts.keep()
	a, b := whole.level(), parts.level()
	require.Equal(t, baseline.Final, b.Phase)
	require.InDelta(t, a.TempCoeff, b.TempCoeff, 5e-4)
	require.InDelta(t, a.Settled, b.Settled, 0.01)
	require.InDelta(t, a.Spread, b.Spread, 0.005)
	require.Equal(t, a.TempUnit, b.TempUnit)
}

func TestACaptureUnderWaySurvivesARestart(t *testing.T) {
	s := newSchool(t)
	require.NoError(t, s.book.Begin([]string{"u"}, "kim", s.now))
	for range 8 {
		s.poll(s.now.Add(time.Minute), -3.2, 21, 30)
	}
	before := s.book.Show("u", s.now)
	_, err := s.book.Keep(s.now, false)
	require.NoError(t, err)
	s.open()
	require.Equal(t, before, s.book.Show("u", s.now))
	for range 4 {
		s.poll(s.now.Add(time.Minute), -3.2, 21, 30)
	}
	require.True(t, s.book.Show("u", s.now).Ready)
	require.NoError(t, s.book.Accept([]string{"u"}, "kim", "", false, s.now))
}

func TestProgressThatCannotBeReadBeginsAnew(t *testing.T) {
	for _, data := range []string{"", "{", `{"format":9}`, `{"format":1}`, `{"format":1,"learner":{"version":1,"tracks":[{"point":"optical_receive_power","slots":"AAA="}]}}`} {
		s := newSchool(t)
		s.commission(-3.2, 21, 30)
		require.NoError(t, s.store.SaveProgress(map[string][]byte{"u": []byte(data)}))
		s.open()
		s.quiet(2, nil)
		s.keep()
		require.Equal(t, baseline.Provisional, s.level().Phase, data)
	}
}

// always is planned work from one day of the year to another.
type always struct{ from, to time.Time }

func (w always) During(resources []string, now time.Time) (collector.PlannedWork, bool) {
	for _, r := range resources {
		if r == "cable/c" && !now.Before(w.from) && now.Before(w.to) {
			return collector.PlannedWork{}, true
		}
	}
	return collector.PlannedWork{}, false
}

func TestNothingIsLearntDuringPlannedWork(t *testing.T) {
	s := newSchool(t)
	s.commission(-3.2, 21, 30)
	s.book.Watch(always{monday.AddDate(0, 0, 4), monday.AddDate(0, 0, 4).Add(4 * time.Hour)}, nil)
	s.quiet(16, func(d, v float64) float64 { return v - 2*b2f(d >= 4 && d < 4.24) })
	s.keep()
	require.Equal(t, baseline.Final, s.level().Phase, "4 hours of work, and 2 to settle: %v", s.learning().Reasons)
	require.InDelta(t, -0.02, s.level().TempCoeff, 0.002)
}

// log of visits: a site that was visited, and until when.
type visited map[string]string

func (v visited) Visited(site string, _ time.Time) (string, bool) { id, ok := v[site]; return id, ok }

func TestABaselineIsReplacedInAVisitOnly(t *testing.T) {
	s := newSchool(t)
	s.book.Watch(nil, visited{})
	s.commission(-3.2, 21, 30)
	require.Empty(t, s.book.History("u")[0].Visit, "the first needs none")
	s.quiet(16, nil)
	again := func() error {
		require.NoError(t, s.book.Begin([]string{"u"}, "kim", s.now))
		for range 12 {
			s.poll(s.now.Add(time.Minute), -3.6, 21, 30)
		}
		return s.book.Accept([]string{"u"}, "kim", "plug changed", true, s.now)
	}
	err := again()
	require.ErrorIs(t, err, baseline.ErrNoVisit, "forced or not")
	require.ErrorContains(t, err, "lightwell visit begin site/s")
	require.InDelta(t, -3.2, s.level().Value, 0.02)

	s.book.Watch(nil, visited{"s": "v-17"})
	require.NoError(t, again())
	history := s.book.History("u")
	require.Len(t, history, 2)
	require.Equal(t, "v-17", history[1].Visit)
	require.InDelta(t, -3.2, history[0].Levels[rx].Value, 0.02, "the first is kept")
	require.Len(t, s.book.Refinements("u"), 2, "and so is what was learnt of it")
	require.Equal(t, baseline.Visit, s.level().Phase, "the second is learnt from the start")
	require.Zero(t, s.level().TempCoeff)
	s.quiet(15, func(_, v float64) float64 { return v - 0.4 })
	s.keep()
	require.Equal(t, baseline.Final, s.level().Phase, s.learning().Reasons)
	require.Equal(t, 2, s.book.Refinements("u")[3].Version)
}

func TestWhatIsLearntCountsOnceItIsStored(t *testing.T) {
	b := newBench(t)
	require.NoError(t, b.book.Begin([]string{"u"}, "e", b.now))
	b.collect("u", 10)
	require.NoError(t, b.accept("u"))
	for range 26 * 60 {
		b.collect("u", 1)
	}
	b.store.fail = errors.New("disk full")
	_, err := b.book.Keep(b.now, true)
	require.ErrorIs(t, err, baseline.ErrNotStored)
	levels, _ := b.book.Levels("u")
	require.Equal(t, baseline.Visit, levels[rx].Phase)
	b.store.fail = nil
	b.collect("u", 61) // the next hour
	made, err := b.book.Keep(b.now, true)
	require.NoError(t, err)
	require.Len(t, made, 1)
	levels, _ = b.book.Levels("u")
	require.Equal(t, baseline.Provisional, levels[rx].Phase)
	require.Equal(t, baseline.Provisional, levels[bias].Phase)

	b.store.lost = errors.New("connection broken") // stored, and the answer lost
	b.reopen()
	require.Len(t, b.book.Refinements("u"), 1)
}

func TestPhasesHaveNames(t *testing.T) {
	require.Equal(t, "of the visit", baseline.Visit.Title())
	require.Equal(t, "final", baseline.Final.Title())
	require.False(t, strings.Contains(baseline.Provisional.Title(), " "))
}

// A unit in a room without a link of its own follows the weather by what an
// outdoor unit of the site reads.
func TestOutdoorTemperature(t *testing.T) {
	s := newSchool(t)
	f := schoolFleet()
	s.book.SetFleet(collector.NewFleet(collector.Fleet{Sites: f.Sites, Units: f.Units}))
	s.commission(-3.2, 21, 30)
	s.quiet(15, nil)
	s.keep()
	l := s.level()
	require.Equal(t, baseline.Outdoor, l.TempSource)
	require.Equal(t, "roof", l.TempUnit)
	require.InDelta(t, -0.02, l.TempCoeff, 0.002)
}
