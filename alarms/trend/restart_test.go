package trend_test

import (
	"context"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift"
	"lightwell/alarms/trend"
	"lightwell/collector"
)

// again ends a stage's keeper, by a clean stop or a kill, and begins another.
func (s *stage) again(cfg trend.Config, clean bool) {
	s.t.Helper()
	if clean {
		require.NoError(s.t, s.k.Close(context.Background()))
	}
	var err error
	s.k, err = trend.New(cfg)
	require.NoError(s.t, err)
	s.k.SetFleet(newFleet())
	s.k.CatchUp(context.Background())
	require.False(s.t, s.k.CatchingUp())
}

// TestARestartChangesNothing: with the readings since the last day's end from
// history, after a stop or a kill at any moment, trends are those of a program
// that ran on.
func TestARestartChangesNothing(t *testing.T) {
	today := time.Now().UTC().Truncate(24 * time.Hour)
	for _, c := range []struct {
		name    string
		clean   bool
		history bool
		at      []float64 // days of restarts
	}{
		{"stopped", true, true, []float64{7.6, 45.3, 70.4}},
		{"killed", false, true, []float64{7.6, 45.3, 70.4}},
		{"stopped, no history", true, false, []float64{45.3, 70.4}},
		{"killed, no history", false, false, []float64{45.3, 70.4}},
	} {
		t.Run(c.name, func(t *testing.T) {
			twin, s := newStage(t, trend.Config{}), newStage(t, trend.Config{})
			cfg := trend.Config{Store: &store{}}
			if c.history {
				s.past = &past{}
				cfg.History = s.past
			}
			s.again(cfg, false)
			for _, one := range []*stage{twin, s} {
				one.start = today.Add(-80 * 24 * time.Hour)
				one.now = one.start
				one.swing, one.loss = 0.03, ramp(40, 0.4)
				one.age = ramp(30, 0.05)
			}
			for _, at := range c.at {
				twin.play(at)
				s.play(at)
				require.NoError(t, s.k.Write(context.Background()))
				s.again(cfg, c.clean)
			}
			for ; s.day() < 79.9; s.now, twin.now = s.now.Add(half), twin.now.Add(half) {
				for _, p := range s.polls() {
					s.k.Observe(p)
					twin.k.Observe(p)
				}
			}
			want, got := twin.trend("room", rx), s.trend("room", rx)
			require.Equal(t, want.Drift, got.Drift)
			require.True(t, got.Drift)
			require.Equal(t, twin.point("room", rx).Thermometer, s.point("room", rx).Thermometer)
			require.Equal(t, twin.point("room", bias).Laser.Grade, s.point("room", bias).Laser.Grade)
			exact := 0.002
			if !c.history {
				exact = 0.02
			}
			require.InDelta(t, want.LostDB, got.LostDB, exact)
			require.InDelta(t, want.SlopeDBPerMonth, got.SlopeDBPerMonth, 3*exact)
			late := got.Since.Sub(want.Since).Abs()
			if c.history {
				require.Zero(t, late, "the alarm began at the same hour")
			}
			require.LessOrEqual(t, late, 48*time.Hour)
		})
	}
}

// TestNothingIsLostWhileTheStateIsDown: what waits does not grow.
func TestNothingIsLostWhileTheStateIsDown(t *testing.T) {
	db := &store{}
	s := newStage(t, trend.Config{Store: db})
	s.play(20)
	db.down = true
	require.ErrorIs(t, s.k.Write(context.Background()), errDown)
	s.play(40)
	require.ErrorIs(t, s.k.Write(context.Background()), errDown)
	require.Equal(t, 2, s.k.Waiting(), "one row a unit")
	require.Equal(t, drift.Final, s.trend("room", rx).Phase, "it goes on in memory")
	_, err := trend.New(trend.Config{Store: db})
	require.ErrorIs(t, err, errDown)
	db.down = false
	require.NoError(t, s.k.Close(context.Background()))
	require.Zero(t, s.k.Waiting())
	days := s.trend("room", rx).Days
	s.again(trend.Config{Store: db}, false)
	require.Equal(t, days, s.trend("room", rx).Days)
	require.NotEmpty(t, db.rows["group/pair/optical_receive_power"])
}

func TestABadRowBeginsAnew(t *testing.T) {
	for _, body := range [][]byte{nil, {9}, {1, 2, 3}, append([]byte{1, 0, 0, 0, 0, 0, 2, 2}, make([]byte, 40)...)} {
		db := &store{rows: map[string][]byte{"unit/room": body, "group/pair/optical_receive_power": body}}
		s := newStage(t, trend.Config{Store: db})
		s.play(3)
		require.Equal(t, drift.Provisional, s.trend("room", rx).Phase)
	}
}

func TestAReloadKeepsWhatIsKnown(t *testing.T) {
	s := newStage(t, trend.Config{})
	s.loss = ramp(20, 0.4)
	s.play(60.3)
	before := s.trend("room", rx)
	_, version := s.k.Trends("room", 0)
	s.k.SetFleet(newFleet())
	require.Equal(t, before, s.trend("room", rx))
	_, after := s.k.Trends("room", 0)
	require.NotEqual(t, version, after, "who has asked before asks again")

	s.k.SetFleet(newFleet(func(f *collector.Fleet) { f.Units, f.Links = f.Units[:1], nil }))
	got, _ := s.k.Trends("room", 0)
	require.Empty(t, got)
	s.k.SetFleet(newFleet())
	require.InDelta(t, before.LostDB, s.trend("room", rx).LostDB, 1e-4, "it was only away; what is stored is rounded to some 0.00001 dB")

	s.k.SetFleet(newFleet(func(f *collector.Fleet) { f.Units[1].Equipment.Model = "another" }))
	got, _ = s.k.Trends("room", 0)
	for _, p := range got {
		require.Nil(t, p.Trend, "another box begins anew")
	}
	s.play(62)
	require.Equal(t, drift.Provisional, s.trend("room", rx).Phase)
	require.True(t, s.trend("roof", rx).Phase == drift.Final)
}

func TestManyAtOnce(t *testing.T) {
	s := newStage(t, trend.Config{Store: &store{}, History: &past{}, Baselines: accepted(start)})
	ctx, cancel := context.WithCancel(context.Background())
	var all sync.WaitGroup
	all.Go(func() { require.NoError(t, s.k.Run(ctx)) })
	all.Go(func() {
		for range 200 {
			s.k.Trends("room", 0)
			s.k.Groups()
			s.k.Waiting()
			s.k.CatchingUp()
		}
	})
	all.Go(func() {
		for range 20 {
			s.k.SetFleet(newFleet())
			s.k.Visited([]string{"roof"}, start)
			s.k.Renewed([]string{"room"}, start)
		}
	})
	s.play(10)
	cancel()
	all.Wait()
	require.NoError(t, s.k.Close(context.Background()))
}
