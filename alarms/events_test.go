package alarms_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/collector"
)

// supply and laser are readings of states.
func supply(state string) collector.Reading {
	v, _ := collector.SupplyState.StateValue(state)
	return collector.Reading{Point: collector.Point{Quantity: collector.SupplyState, Port: "a"}, Value: v}
}

func laser(state string) collector.Reading {
	v, _ := collector.LaserState.StateValue(state)
	return reading(collector.LaserState, v)
}

func restart(unit string, when time.Time, uptime float64) collector.Poll {
	p := poll(unit, when, reading(collector.Uptime, uptime))
	p.Restarted = true
	return p
}

func TestEventsFromPolls(t *testing.T) {
	sec := func(n int) time.Time { return at(time.Duration(n) * time.Second) }
	for _, tc := range []struct {
		name  string
		polls []collector.Poll
		want  []alarms.EventKind // oldest first
	}{
		{"nothing", []collector.Poll{poll("nq-room", sec(0), reading(collector.Uptime, 9e5))}, nil},
		{"restart", []collector.Poll{restart("nq-room", sec(60), 20)}, []alarms.EventKind{alarms.EventRestart}},
		{"two boxes restart together: a mains dip", []collector.Poll{restart("nq-room", sec(60), 20), restart("nq-hall", sec(300), 230)},
			[]alarms.EventKind{alarms.EventRestart, alarms.EventRestart, alarms.EventMainsDip}},
		{"a third one is of the same dip", []collector.Poll{restart("nq-room", sec(60), 20), restart("nq-hall", sec(300), 230), restart("nq-attic", sec(310), 260)},
			[]alarms.EventKind{alarms.EventRestart, alarms.EventRestart, alarms.EventMainsDip, alarms.EventRestart}},
		{"one after the other: maintenance", []collector.Poll{restart("nq-room", sec(60), 20), restart("nq-hall", sec(300), 20)},
			[]alarms.EventKind{alarms.EventRestart, alarms.EventRestart}},
		{"a unit and the one read via it are one box", []collector.Poll{restart("nq-room", sec(60), 20), restart("nq-roof", sec(60), 20)},
			[]alarms.EventKind{alarms.EventRestart, alarms.EventRestart}},
		{"supplies of two boxes flicker", []collector.Poll{
			poll("nq-room", sec(0), supply(collector.StateFailed)), poll("nq-hall", sec(5), supply(collector.StateAbsent)),
			poll("nq-room", sec(30), supply(collector.StateGood)), poll("nq-hall", sec(35), supply(collector.StateGood))},
			[]alarms.EventKind{alarms.EventMainsDip}},
		{"a supply that stays away is none", []collector.Poll{
			poll("nq-room", sec(0), supply(collector.StateFailed)), poll("nq-hall", sec(5), supply(collector.StateAbsent)),
			poll("nq-room", sec(90), supply(collector.StateGood)), poll("nq-hall", sec(35), supply(collector.StateGood))}, nil},
		{"laser warms up", []collector.Poll{poll("nq-roof", sec(0), laser(collector.StateWarming)), poll("nq-roof", sec(10), laser(collector.StateWarming)), poll("nq-roof", sec(20), laser(collector.StateOn))},
			[]alarms.EventKind{alarms.EventWarmUpBegan, alarms.EventWarmUpEnded}},
		{"heater on after a start in the cold", []collector.Poll{
			poll("nq-roof", sec(0), reading(collector.Uptime, 30), reading(collector.HeaterState, 1), reading(collector.Temperature, -35)),
			poll("nq-roof", sec(600), reading(collector.Uptime, 630), reading(collector.HeaterState, 0), reading(collector.Temperature, -10))},
			[]alarms.EventKind{alarms.EventWarmUpBegan, alarms.EventWarmUpEnded}},
		{"heater on long after", []collector.Poll{
			poll("nq-roof", sec(0), reading(collector.Uptime, 90000), reading(collector.HeaterState, 1), reading(collector.Temperature, -35))}, nil},
		{"heater on, not that cold", []collector.Poll{
			poll("nq-roof", sec(0), reading(collector.Uptime, 30), reading(collector.HeaterState, 1), reading(collector.Temperature, -5))}, nil},
	} {
		t.Run(tc.name, func(t *testing.T) {
			r := newRig(t, alarms.EngineConfig{})
			fleet := *smallFleet()
			cold := -30.0
			for i := range fleet.Units {
				fleet.Units[i].Equipment.Limits = collector.Limits{WarmUpBelowC: &cold, WarmUpMax: 20 * time.Minute}
			}
			for _, id := range []string{"nq-hall", "nq-attic"} {
				fleet.Units = append(fleet.Units, collector.Unit{ID: id, Site: "north-quay"})
			}
			r.engine.SetFleet(collector.NewFleet(fleet))
			before := len(r.engine.Events(0))
			for _, p := range tc.polls {
				r.engine.Observe(p)
			}
			r.step(time.Minute)
			kinds := r.eventKinds()
			var got []alarms.EventKind
			for i := len(kinds) - before - 1; i >= 0; i-- {
				got = append(got, kinds[i])
			}
			require.Equal(t, tc.want, got)
			require.Empty(t, r.all, "an event is never an alarm")
		})
	}
}

func TestEventsKeepTheNewest(t *testing.T) {
	told := 0
	r := newRig(t, alarms.EngineConfig{OnEvent: func(alarms.Event) { told++ }})
	for i := range alarms.MaxEvents + 10 {
		r.engine.Observe(restart("nq-room", at(time.Duration(i)*time.Hour), float64(i)))
	}
	all := r.engine.Events(0)
	require.Len(t, all, alarms.MaxEvents)
	require.Equal(t, at(time.Duration(alarms.MaxEvents+9)*time.Hour), all[0].Time)
	require.Equal(t, at(10*time.Hour), all[alarms.MaxEvents-1].Time)
	require.Equal(t, all[:3], r.engine.Events(3))
	require.Equal(t, "unit/nq-room", all[0].Resource)
	require.Contains(t, all[0].Text, "unit nq-room started anew at ")
	require.Equal(t, 1+alarms.MaxEvents+10, told, "a listener hears of all, the fleet among them")
}

// TestSupplyGoneSince: the first of the polls in a row that tell of a supply gone.
func TestSupplyGoneSince(t *testing.T) {
	e := newRig(t, alarms.EngineConfig{}).engine
	for i, c := range []struct {
		said string // empty: nothing of supplies
		want int    // seconds; -1: none
	}{
		{collector.StateGood, -1}, {collector.StateFailed, 10}, {"", 10}, {collector.StateAbsent, 10}, {collector.StateGood, -1}, {collector.StateFailed, 50},
	} {
		when := at(time.Duration(10*i) * time.Second)
		r := supply(c.said)
		if c.said == "" {
			r = reading(collector.Uptime, 9e5)
		}
		e.Observe(poll("nq-room", when, r))
		u, ok := e.Unit("nq-room")
		require.True(t, ok)
		want := time.Time{}
		if c.want >= 0 {
			want = at(time.Duration(c.want) * time.Second)
		}
		require.Equal(t, want, u.SupplyGone, "poll %d", i)
	}
}
