package trend_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift"
	"lightwell/alarms/trend"
	"lightwell/collector"
)

func TestNothingHappens(t *testing.T) {
	s := newStage(t, trend.Config{})
	s.play(150)
	for _, unit := range []string{"roof", "room"} {
		for _, p := range []collector.Point{rx, tx} {
			got := s.trend(unit, p)
			require.Equal(t, drift.Final, got.Phase)
			require.False(t, got.Drift || got.Step || got.Intermittent)
			require.InDelta(t, 0, got.LostDB, 0.02)
		}
	}
	require.Equal(t, drift.LaserKnown, s.point("roof", bias).Laser.Phase)
}

func TestDriftStepAndBursts(t *testing.T) {
	for _, c := range []struct {
		name               string
		loss               func(float64) float64
		drift, step, burst bool
	}{
		{"drift", ramp(40, 0.3), true, false, false},
		{"step", step(60.5, 1), false, true, false},
		{"bursts", func(day float64) float64 {
			if n := int(day * 48); day > 50 && n%7 == 0 {
				return 2
			}
			return 0
		}, false, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newStage(t, trend.Config{})
			s.loss = c.loss
			s.play(90)
			got := s.trend("room", rx)
			require.Equal(t, []bool{c.drift, c.step, c.burst}, []bool{got.Drift, got.Step, got.Intermittent})
			if !c.burst {
				require.InDelta(t, c.loss(89.4), got.LostDB, 0.08)
			}
			far := s.trend("roof", rx)
			require.False(t, far.Drift || far.Step || far.Intermittent)
		})
	}
}

// TestAWeakLaserIsNotABadFibre: loss is transmit minus receive power (link
// budget; ITU-T G.652 appendix I.1 of what lies between).
func TestAWeakLaserIsNotABadFibre(t *testing.T) {
	for _, c := range []struct {
		name string
		weak func(float64) float64
	}{{"slowly", ramp(40, 0.3)}, {"at once", step(60.5, 1.2)}} {
		for _, known := range []bool{true, false} {
			cfg := trend.Config{}
			if known {
				cfg.Baselines = accepted(start)
			}
			s := newStage(t, cfg)
			s.weak = c.weak
			s.play(90)
			fibre, laser := s.trend("room", rx), s.trend("roof", tx)
			require.True(t, laser.Drift || laser.Step, c.name)
			require.Equal(t, !known, fibre.Drift || fibre.Step, c.name)
		}
	}
}

func TestTheTemperatureThatExplains(t *testing.T) {
	s := newStage(t, trend.Config{})
	s.swing = 0.03
	s.play(40)
	got := s.point("room", rx)
	require.Equal(t, "roof", got.Thermometer, "the far laser's case moves it")
	require.InDelta(t, 0.03, got.Trend.TempCoeff, 0.01)
	require.Equal(t, "roof", s.point("roof", rx).Thermometer)
	require.Equal(t, "room", s.point("room", tx).Thermometer)
}

func TestALaserAges(t *testing.T) {
	s := newStage(t, trend.Config{})
	s.age = func(day float64) float64 { return ramp(30, 0.1)(day) }
	s.play(120)
	got := s.point("room", bias).Laser
	require.GreaterOrEqual(t, got.Grade, 2)
	require.InDelta(t, 0.3, got.Index, 0.05)
	require.Zero(t, s.point("roof", bias).Laser.Grade)
}

func TestAColdStartIsNotJudged(t *testing.T) {
	s := newStage(t, trend.Config{})
	s.play(60)
	before := s.trend("room", rx)
	cold := s.polls()
	for i := range cold {
		cold[i].Restarted = true
	}
	for _, p := range cold {
		s.k.Observe(p)
	}
	until := s.day() + 2.0/24
	s.loss = func(day float64) float64 { // 3 dB while the laser warms up
		if day < until {
			return 3
		}
		return 0
	}
	s.now = s.now.Add(half)
	s.play(62)
	after := s.trend("room", rx)
	require.False(t, after.Step || after.Intermittent)
	require.InDelta(t, before.LostDB, after.LostDB, 0.02)
}

func TestDarkIsNotWeak(t *testing.T) {
	s := newStage(t, trend.Config{})
	s.loss = func(day float64) float64 {
		if day > 60 && day < 60.3 {
			return 40
		}
		return 0
	}
	s.play(65)
	got := s.trend("room", rx)
	require.False(t, got.Drift || got.Step || got.Intermittent)
	require.InDelta(t, 0, got.LostDB, 0.02)
}

func TestPlannedWorkFreezes(t *testing.T) {
	work := collector.PlannedWork{ID: "w", Resources: []string{"cable/riser"}, Start: start.Add(60 * 24 * time.Hour).Format(time.RFC3339), Duration: 8 * time.Hour}
	for _, planned := range []bool{true, false} {
		var calendar collector.Calendar
		f := newFleet(func(f *collector.Fleet) { f.PlannedWork = []collector.PlannedWork{work} })
		require.NoError(t, calendar.SetFleet(f))
		cfg := trend.Config{}
		if planned {
			cfg.Calendar = &calendar
		}
		s := newStage(t, cfg)
		s.loss = func(day float64) float64 {
			if day >= 60 && day < 60.4 { // the work, and a moment more
				return 2
			}
			return 0
		}
		s.play(60.38)
		require.Equal(t, !planned, s.trend("room", rx).Step)
		s.play(63)
		require.False(t, s.trend("room", rx).Step)
		require.InDelta(t, 0, s.trend("room", rx).LostDB, 0.02)
	}
}

func TestAVisitTakesANewBaselineAndForgetsNothing(t *testing.T) {
	s := newStage(t, trend.Config{})
	s.loss = ramp(40, 0.3)
	s.play(100)
	lost := s.trend("room", rx).LostDB
	require.InDelta(t, 0.58, lost, 0.06)
	s.k.Visited([]string{"room", "nobody"}, s.now)
	s.loss = func(float64) float64 { return 0.5 } // little was gained
	s.play(120)
	got := s.trend("room", rx)
	require.Equal(t, drift.Final, got.Phase)
	require.InDelta(t, 0, got.LostDB, 0.05)
	require.InDelta(t, 0.5, got.SinceFirstDB, 0.1)
	require.InDelta(t, -4, got.FirstBaseline, 0.03)
}

// TestAnAcceptedBaseline: the first one begins, each further one is a visit.
func TestAnAcceptedBaseline(t *testing.T) {
	book := levels{}
	s := newStage(t, trend.Config{Baselines: book})
	s.loss = func(day float64) float64 {
		if day < 20 { // people are at work on it
			return 2
		}
		return ramp(60, 0.3)(day)
	}
	s.play(20.1)
	for unit, of := range accepted(s.now) {
		book[unit] = of
	}
	s.play(110)
	got := s.trend("room", rx)
	require.True(t, got.Drift)
	require.InDelta(t, 0.48, got.LostDB, 0.05)
	for unit, of := range accepted(s.now) {
		book[unit] = of
	}
	s.play(113)
	got = s.trend("room", rx)
	require.False(t, got.Drift)
	require.Equal(t, drift.Provisional, got.Phase)
	require.InDelta(t, 0.48, got.SinceFirstDB, 0.08)
}

func TestStrangersAndOldPolls(t *testing.T) {
	s := newStage(t, trend.Config{})
	s.play(20)
	before := s.trend("room", rx)
	s.k.Observe(collector.Poll{Unit: "nobody", Started: s.now})
	s.k.Observe(collector.Poll{Unit: "room", Started: s.now, Err: collector.ErrNoAnswer})
	old := s.polls()
	old[1].Started = start
	s.k.Observe(old[1])
	require.Equal(t, before, s.trend("room", rx))
	got, version := s.k.Trends("nobody", 7)
	require.Empty(t, got)
	require.EqualValues(t, 7, version)
	_, version = s.k.Trends("room", 0)
	got, _ = s.k.Trends("room", version)
	require.Empty(t, got, "nothing new")
}
