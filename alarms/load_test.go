package alarms_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

// A flood starts in an interval with more than 10 alarms and ends in the first
// with fewer than 5 (rule of alarm practice after ISA-18.2; secondary source).
func TestFindFloods(t *testing.T) {
	floods := alarms.FindFloods(start, []int{3, 11, 8, 5, 4, 12, 10})
	interval := func(n int) time.Time { return at(time.Duration(n-1) * alarms.LoadInterval) }
	require.Equal(t, []alarms.Flood{
		{Start: interval(2), End: interval(5), Alarms: 24, Peak: 11},
		{Start: interval(6), Alarms: 22, Peak: 12},
	}, floods)
	require.Empty(t, alarms.FindFloods(start, []int{10, 10, 10}), "more than 10 is meant")
}

// announce raises n alarms at once, the resource being prefix and a number.
func (r *rig) announce(prefix string, n int, s alarms.Severity, hold alarms.Hold) {
	us := make([]alarms.Update, n)
	for i := range us {
		us[i] = alarms.Update{Key: alarms.Key{Resource: fmt.Sprint(prefix, i), Type: "t"}, Active: true, Severity: s, Text: "x", Hold: hold}
	}
	r.list.Apply(r.now, us...)
}

func (r *rig) clearAll(prefix string, n int) {
	for i := range n {
		r.list.Apply(r.now, alarms.Update{Key: alarms.Key{Resource: fmt.Sprint(prefix, i), Type: "t"}})
	}
}

func TestLoadOfTheExampleDay(t *testing.T) {
	r := newRig(t, alarms.EngineConfig{})
	day := []int{3, 11, 8, 5, 4, 12, 10}
	for i, n := range day {
		r.now = at(time.Duration(i)*alarms.LoadInterval + time.Minute)
		r.announce(fmt.Sprint("a", i, "-"), n, alarms.Minor, alarms.Hold{})
		r.announce(fmt.Sprint("h", i, "-"), n, alarms.Critical, alarms.Hold{Reason: alarms.HoldSymptom, By: "x"})
	}
	load := r.engine.Load(r.now)
	require.Equal(t, []int{3, 11, 8, 5, 4, 12, 10}, load.Intervals, "what is held is not counted")
	require.Equal(t, 2, load.AboveTen)
	require.Len(t, load.Floods, 2)
	require.Equal(t, 53, load.Announced)
	require.Equal(t, 10, load.LastInterval)
	require.InDelta(t, 53/6.1, load.Average, 1e-9, "61 minutes")
	require.Equal(t, map[alarms.Severity]float64{alarms.Minor: 1}, load.Mix)
	require.Len(t, load.Top, 10)
	require.Equal(t, start, load.Since)

	r.now = r.now.Add(10 * time.Minute)
	for i, n := range day {
		r.announce(fmt.Sprint("h", i, "-"), n, alarms.Critical, alarms.Hold{})
	}
	load = r.engine.Load(r.now)
	require.Equal(t, 53+53, load.Announced, "a release announces")
	require.InDelta(t, 0.5, load.Mix[alarms.Critical], 1e-9)
	later := r.engine.Load(at(26 * time.Hour))
	require.Equal(t, 0, later.Announced)
	require.Equal(t, at(2*time.Hour), later.Since, "24 hours")
	require.Len(t, later.Stale, 106)
}

func TestNuisanceAlarms(t *testing.T) {
	for _, tc := range []struct {
		name       string
		stands     []time.Duration // how long each raise stands
		gap        time.Duration   // between clear and next raise
		touched    bool
		chattering int
		fleeting   int
	}{
		{"stands", []time.Duration{time.Hour}, 0, false, 0, 0},
		{"gone within seconds", []time.Duration{5 * time.Second}, 0, false, 0, 1},
		{"somebody did something", []time.Duration{5 * time.Second}, 0, true, 0, 0},
		{"twice in a minute", []time.Duration{5 * time.Second, time.Hour}, 10 * time.Second, false, 0, 0},
		{"twice in an hour", []time.Duration{5 * time.Second, 5 * time.Second}, 30 * time.Minute, false, 0, 1},
		{"three times in a minute", []time.Duration{5 * time.Second, 5 * time.Second, 5 * time.Second}, 20 * time.Second, false, 1, 0},
		{"three times in more", []time.Duration{15 * time.Second, 15 * time.Second, 15 * time.Second}, 20 * time.Second, false, 0, 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := newRig(t, alarms.EngineConfig{})
			for _, d := range tc.stands {
				r.announce("a", 1, alarms.Minor, alarms.Hold{})
				if tc.touched {
					_, err := r.list.Acknowledge(r.alarm("a0", "t").ID, alarms.Operation{Operator: "amara", Now: r.now})
					require.NoError(t, err)
				}
				r.now = r.now.Add(d)
				r.clearAll("a", 1)
				r.now = r.now.Add(tc.gap)
			}
			load := r.engine.Load(r.now)
			require.Len(t, load.Chattering, tc.chattering)
			require.Len(t, load.Fleeting, tc.fleeting)
			require.Empty(t, load.Stale)
			require.Equal(t, []alarms.LoadSource{{Key: alarms.Key{Resource: "a0", Type: "t"}, Count: len(tc.stands), Share: 1}}, load.Top)
		})
	}
}
