package trend_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/trend"
)

// jump has the clock of the stage and its keeper run off by so much.
func (s *stage) jump(off time.Duration) {
	s.now = s.now.Add(off)
	s.k.Jump(off)
}

// playFor plays so many polls.
func (s *stage) playFor(d time.Duration) { s.play(s.day() + d.Hours()/24) }

// TestAClockThatRanAheadAndCameBack: a drift that begins after it is found as
// soon as without.
func TestAClockThatRanAheadAndCameBack(t *testing.T) {
	const days = 24 * time.Hour
	for _, c := range []struct {
		name    string
		off     time.Duration
		believe time.Duration // that the wrong clock goes on
		most    int           // days that the trends may have counted too many
	}{
		{"for a moment", 200 * days, 30 * time.Minute, 1},
		{"until it was believed", 200 * days, 4 * time.Hour, 3},
		{"by an hour", time.Hour, 4 * time.Hour, 1},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, even := newStage(t, trend.Config{}), newStage(t, trend.Config{})
			s.loss, even.loss = ramp(40, 0.8), ramp(40, 0.8)
			even.play(70)
			s.play(30)
			before := s.trend("room", rx)
			s.jump(c.off)
			s.playFor(c.believe)
			s.jump(-c.off)
			s.playFor(2 * time.Hour)
			require.LessOrEqual(t, s.trend("room", rx).Days, before.Days+c.most)
			require.False(t, s.trend("room", rx).Drift)
			s.play(70)
			after := s.trend("room", rx)
			require.True(t, after.Drift)
			require.False(t, after.Since.After(s.now))
			require.InDelta(t, even.trend("room", rx).LostDB, after.LostDB, 0.03)
			require.InDelta(t, 70, s.point("room", bias).Laser.Days, 20, "lasers go on too")
			require.False(t, s.point("room", bias).Laser.Judged.After(s.now))
		})
	}
}

// TestAClockThatRanAheadBeforeARestart: what is stored is of a time to come.
func TestAClockThatRanAheadBeforeARestart(t *testing.T) {
	kept := &store{}
	s := newStage(t, trend.Config{Store: kept})
	s.play(30)
	s.jump(100 * 24 * time.Hour)
	s.playFor(25 * time.Hour)
	require.NoError(t, s.k.Close(context.Background()))

	again := newStage(t, trend.Config{Store: kept})
	again.now = start.Add(31 * 24 * time.Hour)
	again.loss = ramp(40, 0.8)
	again.playFor(time.Hour)
	require.Greater(t, again.day(), 31.0, "for an hour nothing is believed")
	again.play(75)
	require.True(t, again.trend("room", rx).Drift)
	require.False(t, again.trend("room", rx).Since.After(again.now))
}

// TestPollsThatOvertake: a poll that was under way longer than the next one
// takes no unit back.
func TestPollsThatOvertake(t *testing.T) {
	s := newStage(t, trend.Config{})
	s.play(3)
	_, version := s.k.Trends("room", 0)
	s.now = s.now.Add(-half - time.Minute)
	for _, p := range s.polls() {
		s.k.Observe(p)
	}
	_, now := s.k.Trends("room", version)
	require.Equal(t, version, now)
}
