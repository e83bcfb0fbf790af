package visit_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/visit"
	"lightwell/collector"
)

func TestCalendar(t *testing.T) {
	s := newScene(t, noon)
	planned := &collector.Calendar{}
	require.NoError(t, planned.SetFleet(collector.NewFleet(collector.Fleet{PlannedWork: []collector.PlannedWork{
		{ID: "mast", Resources: []string{"unit/roof"}, Start: noon.Format(time.RFC3339), Duration: 4 * time.Hour, Location: time.UTC}}})))
	both := visit.Calendar{Planned: planned, Visits: s.book}
	during := func(at time.Time, resources ...string) string {
		w, ok := both.During(resources, at)
		require.Equal(t, ok, w.ID != "")
		return w.ID
	}
	require.Equal(t, "mast", during(noon, "unit/roof"))
	require.Empty(t, during(noon, "unit/room"))
	s.begin(noon, func(r *visit.Begin) { r.Resources = []string{"unit/room", "unit/roof"} })
	require.Equal(t, "visit/v1", during(noon, "unit/roof"), "what happens comes before what was meant to")
	require.Equal(t, "visit/v1", during(noon.Add(time.Hour), "link/other", "unit/room"))
	require.Empty(t, during(noon, "site/quay"), "only what is worked on")
	s.end("v1", noon.Add(2*time.Hour))
	require.Equal(t, "mast", during(noon.Add(2*time.Hour), "unit/roof"))
	require.Empty(t, during(noon.Add(2*time.Hour), "unit/room"))
	require.Empty(t, during(noon.Add(5*time.Hour), "unit/roof"))
	w, ok := visit.Calendar{Visits: s.book}.During([]string{"unit/roof"}, noon.Add(2*time.Hour))
	require.False(t, ok, w)
}

// failing is a rule by which the room always fails.
type failing struct{ at time.Time }

func (failing) Type() alarms.Type { return alarms.Type{ID: "failing", Severity: alarms.Major} }

func (f failing) Judge(v *alarms.View) []alarms.Verdict {
	if v.Unit("room") == nil {
		return nil
	}
	return []alarms.Verdict{{Resource: "unit/room", Active: true, Severity: alarms.Major, Text: "the room fails: go there", Seen: f.at, Direct: true}}
}

// TestAlarmsAreHeldBack: an alarm of what is worked on is in the list and told
// to nobody, until the visit ends and it still stands.
func TestAlarmsAreHeldBack(t *testing.T) {
	s := newScene(t, noon)
	var told []alarms.ChangeKind
	list := alarms.NewList(alarms.ListConfig{Sink: func(changes []alarms.Change) {
		for _, c := range changes {
			if c.Notify {
				told = append(told, c.Kind)
			}
		}
	}})
	now := noon
	engine := alarms.NewEngine(alarms.EngineConfig{Rules: []alarms.Rule{failing{noon}}, List: list, Calendar: visit.Calendar{Visits: s.book}, Now: func() time.Time { return now }})
	s.begin(noon)
	engine.SetFleet(fleet())
	engine.EvaluateAll(now)
	held := list.Alarms(alarms.Filter{Site: "quay"})
	require.Len(t, held, 1)
	require.Equal(t, alarms.Hold{Reason: alarms.HoldPlannedWork, By: "visit/v1"}, held[0].Hold)
	require.Empty(t, told)

	now = noon.Add(time.Hour)
	engine.EvaluateAll(now)
	require.Empty(t, told)
	s.end("v1", now)
	engine.EvaluateAll(now)
	require.Equal(t, []alarms.ChangeKind{alarms.Released}, told)
}

func TestWorks(t *testing.T) {
	s := newScene(t, noon)
	require.Empty(t, s.book.Works("quay", noon))
	expected := -2.9
	s.begin(noon, func(r *visit.Begin) { r.Resources = []string{"link/nq"} })
	_, err := s.book.End(ctx, "v1", visit.End{Found: "x", Done: "y", Exchanged: []string{"roof"},
		Meter: []visit.Meter{{Unit: "room", DBm: -3}, {Unit: "roof", Port: "a", DBm: -6, Expected: &expected}}}, noc, noon.Add(time.Hour))
	require.NoError(t, err)
	s.begin(noon.Add(2 * time.Hour))
	works := s.book.Works("quay", noon.Add(3*time.Hour))
	require.Len(t, works, 2)
	require.Equal(t, alarms.Work{
		ID: "visit/v1", Resources: []string{"link/nq"}, Begin: noon, End: noon.Add(time.Hour), Exchanged: []string{"roof"}, Reason: "Kim: weak downlink",
		Meter: []alarms.MeterReading{{Unit: "roof", Port: "a", DBm: -6, ExpectedDBm: -2.9, At: noon.Add(time.Hour)}},
	}, works[0])
	require.True(t, works[1].End.IsZero())
	require.Len(t, s.book.Works("quay", noon.Add(8*24*time.Hour)), 1, "who is there still counts, who left a week ago does not")
}
