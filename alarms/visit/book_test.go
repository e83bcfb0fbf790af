package visit_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/visit"
	"lightwell/collector"
)

func TestAVisitFromBeginToProof(t *testing.T) {
	s := newScene(t, noon)
	weak := alarms.Alarm{Key: alarms.Key{Resource: "unit/room/optical_receive_power", Type: "optical-signal-degraded"}, ID: "weak", Site: "quay", Severity: alarms.Major, Text: "light is weak"}
	s.alarms = []alarms.Alarm{weak}
	s.read("room", noon.Add(-10*time.Second), map[collector.Point]float64{light: -6, level: -40, mains: 0})
	s.read("roof", noon.Add(-10*time.Second), map[collector.Point]float64{light: -2, mains: 1})
	s.accept("room", light, -2)
	s.accept("roof", light, -2)

	v := s.begin(noon)
	require.Equal(t, "v1", v.ID)
	require.Equal(t, visit.Open, v.State)
	require.Equal(t, []string{"site/quay"}, v.Resources)
	require.Equal(t, noon.Add(12*time.Hour), v.Until)
	require.Equal(t, "weak", v.AlarmsBefore[0].ID)
	p := s.proof("v1", noon.Add(time.Minute))
	require.Contains(t, p.Conclusion, "is open")
	require.Len(t, p.Lines, 5)

	done := noon.Add(time.Hour)
	s.read("room", done.Add(-5*time.Second), map[collector.Point]float64{light: -2.05, level: -40.4, mains: 0})
	s.read("roof", done.Add(-5*time.Second), map[collector.Point]float64{light: -2.8, mains: 0})
	v = s.end("v1", done)
	require.Equal(t, visit.Settling, v.State)
	require.Contains(t, s.proof("v1", done).Conclusion, "Provisional")

	s.alarms = nil
	s.book.Keep(ctx, done.Add(11*time.Minute))
	require.Equal(t, visit.Settling, s.proof("v1", done).State, "no unit has answered since")
	s.read("room", done.Add(11*time.Minute), nil)
	s.read("roof", done.Add(11*time.Minute), nil)
	for _, u := range []string{"room", "roof"} {
		values := map[collector.Point]float64{}
		for p, pv := range s.units[u].Points {
			values[p] = pv.Reading.Value
		}
		s.read(u, done.Add(11*time.Minute), values)
	}
	s.book.Keep(ctx, done.Add(12*time.Minute))
	p = s.proof("v1", done.Add(12*time.Minute))
	require.Equal(t, visit.Closed, p.State)
	require.Equal(t, "North Quay", p.SiteName)
	require.Equal(t, "weak", p.Cleared[0].ID)
	require.Empty(t, p.Remaining)
	require.Empty(t, p.New)
	verdicts := map[string]visit.Verdict{}
	for _, l := range p.Lines {
		verdicts[l.Unit+" "+l.Point.String()] = l.Verdict
	}
	require.Equal(t, map[string]visit.Verdict{
		"room optical_receive_power": visit.Better, "room rf_output_level": visit.Same, "room supply_state/a": visit.Same,
		"roof optical_receive_power": visit.Worse, "roof supply_state/a": visit.Better,
	}, verdicts)
	require.Equal(t, []string{"roof"}, p.Rebaseline, "the room is back at its baseline")
	require.Equal(t, "Look at it again: 1 alarm ended, 0 alarms still there, 0 new alarms, 2 levels better, 1 level worse or no longer read.", p.Conclusion)
	require.Equal(t, []string{"visit-begun", "visit-ended", "visit-closed"}, s.log())
	require.Equal(t, []alarms.EventKind{alarms.EventVisitBegan, alarms.EventVisitEnded}, s.kinds())
}

func TestAForgottenVisitEndsByItself(t *testing.T) {
	s := newScene(t, noon)
	v := s.begin(noon, func(r *visit.Begin) { r.Limit = time.Hour })
	s.book.Keep(ctx, noon.Add(59*time.Minute))
	require.Equal(t, visit.Open, s.proof(v.ID, noon).State)
	_, held := s.book.During([]string{"site/quay"}, noon.Add(time.Hour))
	require.False(t, held, "the limit counts, also before anybody looks")

	late := noon.Add(5 * time.Hour)
	s.book.Keep(ctx, late)
	p := s.proof(v.ID, late)
	require.True(t, p.Forgotten)
	require.Equal(t, noon.Add(time.Hour), p.Ended, "when it should have, not when it was noticed")
	require.Equal(t, []alarms.EventKind{alarms.EventVisitBegan, alarms.EventVisitForgotten}, s.kinds())
	require.Contains(t, s.events[1].Text, "was not ended by anybody within 1h0m0s")
	require.Equal(t, []string{"visit-begun", "visit-forgotten"}, s.log())
	s.book.Keep(ctx, late)
	require.Equal(t, visit.Closed, s.proof(v.ID, late).State)

	_, err := s.book.End(ctx, v.ID, visit.End{Found: "x", Done: "y"}, noc, late)
	require.ErrorIs(t, err, visit.ErrOver)
	s.begin(late)
}

func TestOneOpenVisitASite(t *testing.T) {
	s := newScene(t, noon)
	s.begin(noon)
	_, err := s.book.Begin(ctx, visit.Begin{Site: "quay", By: "Lou", Reason: "mains", Resources: []string{"unit/room"}}, noc, noon.Add(time.Minute))
	require.ErrorIs(t, err, visit.ErrConflict)
	require.ErrorContains(t, err, "v1 by Kim since 2026-11-25 12:00:00 UTC")
	other := s.begin(noon, func(r *visit.Begin) { r.Site = "hill" })
	require.Equal(t, "v2", other.ID)
}

func TestRestartInTheMiddle(t *testing.T) {
	for _, how := range []string{"stopped", "killed"} {
		t.Run(how, func(t *testing.T) {
			s := newScene(t, noon)
			s.read("room", noon, map[collector.Point]float64{light: -6})
			s.begin(noon)
			if how == "stopped" {
				require.NoError(t, s.state.Close())
			} else { // what a killed process leaves: no Close, another folder with the same files
				s.folder = killed(t, s)
			}
			s.open(noon.Add(time.Hour))
			_, held := s.book.During([]string{"site/quay"}, noon.Add(time.Hour))
			require.True(t, held)
			s.read("room", noon.Add(2*time.Hour), map[collector.Point]float64{light: -2})
			v := s.end("v1", noon.Add(2*time.Hour))
			require.Equal(t, -6.0, v.Before[0].Value)
			require.Equal(t, -2.0, v.After[0].Value)
			require.NoError(t, s.state.Close())

			s.open(noon.Add(10 * time.Hour))
			s.book.Keep(ctx, noon.Add(10*time.Hour))
			require.Equal(t, visit.Closed, s.proof("v1", noon).State, "settled although the daemon was away")
			recent, ok := s.book.Recent("quay", noon.Add(24*time.Hour))
			require.True(t, ok)
			require.Equal(t, "v1", recent.ID)
			_, ok = s.book.Visited("quay", noon.Add(10*24*time.Hour))
			require.False(t, ok)
			require.Equal(t, "v2", s.begin(noon.Add(25*time.Hour)).ID)
		})
	}
}

func TestNothingCountsThatIsNotStored(t *testing.T) {
	s := newScene(t, noon)
	s.fault = errors.New("disk full")
	_, err := s.book.Begin(ctx, visit.Begin{Site: "quay", By: "Kim", Reason: "x"}, noc, noon)
	require.ErrorIs(t, err, visit.ErrNotStored)
	_, held := s.book.During([]string{"site/quay"}, noon)
	require.False(t, held)
	require.Empty(t, s.events)

	s.fault = nil
	v := s.begin(noon)
	require.Equal(t, "v1", v.ID)
	s.fault = errors.New("disk full")
	_, err = s.book.End(ctx, v.ID, visit.End{Found: "x", Done: "y"}, noc, noon.Add(time.Hour))
	require.ErrorIs(t, err, visit.ErrNotStored)
	s.book.Keep(ctx, noon.Add(13*time.Hour))
	s.fault = nil
	require.Equal(t, visit.Open, s.proof(v.ID, noon).State)
	s.book.Keep(ctx, noon.Add(13*time.Hour))
	require.True(t, s.proof(v.ID, noon).Forgotten)
}

func TestUnknownVisits(t *testing.T) {
	s := newScene(t, noon)
	for _, id := range []string{"v9", "9", "v0", "v-1", "v01", "", "v99999999999999999999"} {
		_, err := s.book.Visit(id)
		require.ErrorIs(t, err, visit.ErrUnknown, id)
		_, err = s.book.End(ctx, id, visit.End{Found: "x", Done: "y"}, noc, noon)
		require.ErrorIs(t, err, visit.ErrUnknown, id)
	}
}
