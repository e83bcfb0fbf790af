package drift_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift"
)

func unix(s int64) time.Time { return time.Unix(s, 0).UTC() }

func TestVisitTakesANewBaseline(t *testing.T) {
	for _, tt := range []struct {
		name         string
		lost, after  float64 // dB before the visit; reading after it
		before, base float64
	}{
		{"cleaned: what was lost came back", 0.1, -5, 0, -5},
		{"reseated worse: the visit's own offset is nobody's ageing", 0, -5.4, 0, -5.4},
		{"nothing gained: the loss stays counted", 0.1, -5.1, 0.1, -5.1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := drift.Default()
			var s drift.Series
			at, _, _ := steady(&s, &c, 1000*day, 20, -5)
			at, _, _ = steady(&s, &c, at, 20, -5-tt.lost)
			s.Freeze(&c, at)
			frozen := s
			_, raised, _ := steady(&s, &c, at, 1, -30) // a plug in the hand
			require.Zero(t, raised)
			require.Equal(t, frozen.Trend(&c), s.Trend(&c))
			at += day
			s.Rebase(at)
			require.Equal(t, drift.Prior, s.Trend(&c).Phase)
			at, raised, _ = steady(&s, &c, at, 3, tt.after)
			require.Zero(t, raised)
			require.Equal(t, drift.Provisional, s.Trend(&c).Phase)
			_, raised, _ = steady(&s, &c, at, 14, tt.after)
			require.Zero(t, raised)
			trend := s.Trend(&c)
			require.Equal(t, drift.Final, trend.Phase)
			require.InDelta(t, 0, trend.LostDB, 0.01)
			require.InDelta(t, tt.base, trend.Baseline, 0.03)
			require.InDelta(t, -5, trend.FirstBaseline, 0.03, "kept for ever")
			require.InDelta(t, tt.before, trend.SinceFirstDB, 0.03)
		})
	}
}

// TestRebasingCannotHideAgeing: 0.1 dB between visits is never an alarm by
// itself, their sum is.
func TestRebasingCannotHideAgeing(t *testing.T) {
	c := drift.Default()
	var s drift.Series
	value := -5.0
	at, _, _ := steady(&s, &c, 1000*day, 20, value)
	for visit := range 6 {
		value -= 0.1
		var raised drift.Kinds
		at, raised, _ = steady(&s, &c, at, 40, value)
		if raised.Has(drift.Drift) {
			require.GreaterOrEqual(t, visit, 2)
			require.InDelta(t, 0.1*float64(visit+1), s.Trend(&c).SinceFirstDB, 0.05)
			return
		}
		s.Freeze(&c, at)
		s.Rebase(at + 3600)
		at, _, _ = steady(&s, &c, at+3600, 20, value)
	}
	require.Fail(t, "0.6 dB went unnoticed")
}

func TestResumeKeepsTheBaseline(t *testing.T) {
	c := drift.Default()
	var s drift.Series
	s.Freeze(&c, 1000*day) // nothing to freeze
	at, _, _ := steady(&s, &c, 1000*day, 20, -5)
	s.Freeze(&c, at)
	steady(&s, &c, at, 1, -9)
	at += day
	s.Resume(at)
	for i := range int64(4) {
		require.Zero(t, s.Observe(&c, at+i*1800, -9, 20).Raised, "the first two hours are not judged")
	}
	steady(&s, &c, at+2*3600, 3, -5)
	require.Equal(t, drift.Final, s.Trend(&c).Phase)
	require.InDelta(t, 0, s.Trend(&c).LostDB, 0.02)
}

// TestLossIsNotCountedTwice: until the first day after a visit has passed only
// what was lost before it is known.
func TestLossIsNotCountedTwice(t *testing.T) {
	c := drift.Default()
	var s drift.Series
	at, _, _ := steady(&s, &c, 1000*day, 20, -5)
	at, _, _ = steady(&s, &c, at, 20, -5.1)
	s.Freeze(&c, at)
	s.Rebase(at + 3600)
	trend := s.Trend(&c)
	require.Equal(t, drift.Prior, trend.Phase)
	require.Zero(t, trend.LostDB)
	require.InDelta(t, 0.1, trend.SinceFirstDB, 0.03)
}
