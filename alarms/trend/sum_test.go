package trend_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/alarms/trend"
	"lightwell/collector"
)

// watch puts an engine with all rules behind the keeper of a stage.
func (s *stage) watch(book levels, calendar alarms.WorkCalendar) (*alarms.Engine, *alarms.List) {
	list := alarms.NewList(alarms.ListConfig{})
	e := alarms.NewEngine(alarms.EngineConfig{
		Rules: rules.All(), List: list, Trends: s.k, Baselines: book, Calendar: calendar, Now: func() time.Time { return s.now },
	})
	e.SetFleet(newFleet())
	return e, list
}

// judge lets an engine see the newest polls, often enough for damping, and
// returns the alarms about the downlink's receiver.
func (s *stage) judge(e *alarms.Engine, list *alarms.List) (standing []string, text string) {
	for range 4 {
		s.now = s.now.Add(time.Minute)
		for _, p := range s.polls() {
			s.k.Observe(p)
			e.Observe(p)
		}
		e.EvaluateAll(s.now)
	}
	for _, a := range list.Alarms(alarms.Filter{}) {
		if !a.Cleared && a.Resource == "unit/room/optical_receive_power" {
			standing, text = append(standing, a.Type), a.Text
		}
	}
	return standing, text
}

// TestThreeBaselinesDoNotHideASum: a receiver loses 0.3 dB, slowly, before each
// of three visits, whose accepted baseline would say that all is well. The
// last loss ends a month before: nothing but the sum is left to tell of.
func TestThreeBaselinesDoNotHideASum(t *testing.T) {
	visits := []float64{60, 120, 180}
	lost := func(day float64) (sum float64) {
		for _, v := range visits {
			sum += min(max(0, day-(v-50))*0.3/30, 0.3)
		}
		return sum
	}
	var work []collector.PlannedWork
	for i, v := range visits {
		at := start.Add(time.Duration(v*24) * time.Hour)
		work = append(work, collector.PlannedWork{ID: fmt.Sprint("visit-", i), Resources: []string{"unit/room"}, Start: at.Format(time.RFC3339), Duration: 4 * time.Hour})
	}
	var calendar collector.Calendar
	require.NoError(t, calendar.SetFleet(newFleet(func(f *collector.Fleet) { f.PlannedWork = work })))
	book := accepted(start)
	s := newStage(t, trend.Config{Baselines: book, Calendar: &calendar})
	s.loss = func(day float64) float64 {
		for _, v := range visits {
			if day >= v && day < v+0.15 {
				return 6 // plugs in hands
			}
		}
		return lost(day)
	}
	e, list := s.watch(book, &calendar)
	for _, v := range visits {
		s.play(v + 0.15)
		require.InDelta(t, lost(v-1), s.trend("room", rx).SinceFirstDB, 0.08, "planned work is not counted")
		at := s.now
		for unit, of := range accepted(at) {
			level := of[rx]
			if unit == "room" {
				level.Value -= lost(v)
			}
			of[rx] = level
			book[unit] = of
		}
		s.play(v + 2)
		got := s.trend("room", rx)
		require.False(t, got.Drift, "a new baseline")
		require.InDelta(t, -4, got.FirstBaseline, 0.03, "the first one stays")
	}
	s.play(210)
	got := s.trend("room", rx)
	require.InDelta(t, 0, got.LostDB, 0.05, "nothing is lost since the last visit")
	require.InDelta(t, 0.9, got.SinceFirstDB, 0.1)
	standing, text := s.judge(e, list)
	require.Equal(t, []string{rules.Drift}, standing)
	require.Contains(t, text, "dB since its first baseline, -4.0 dBm: all of it before the last visit")
}
