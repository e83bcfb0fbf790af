package web_test

import (
	"html"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift"
	"lightwell/collector"
)

// learnt accepts a baseline of a unit and feeds sixteen days of half hours
// that follow its own case.
func (s *stage) learnt(unit string) {
	rx := collector.Point{Quantity: collector.OpticalReceivePower}
	temp := collector.Point{Quantity: collector.Temperature}
	poll := func(at time.Time) {
		c := 30 + 8*math.Sin(2*math.Pi*float64(at.Unix())/86400)
		s.book.Observe(collector.Poll{Unit: unit, Started: at, Readings: []collector.Reading{
			{Point: rx, Value: 1.2 - 0.02*(c-30), Taken: at}, {Point: temp, Value: c, Taken: at},
		}})
	}
	at := day.AddDate(0, 0, -17)
	require.NoError(s.t, s.book.Begin([]string{unit}, "kim", at))
	for range 12 {
		at = at.Add(time.Minute)
		poll(at)
	}
	require.NoError(s.t, s.book.Accept([]string{unit}, "kim", "first light", true, at))
	for range 16 * 48 {
		at = at.Add(30 * time.Minute)
		if poll(at); at.Hour() == 0 {
			_, err := s.book.Keep(at, true)
			require.NoError(s.t, err)
		}
	}
}

func TestWhatIsLearntIsShown(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), day)
	s.learnt("a1-room")
	page := html.UnescapeString(s.get("/units/a1-room").Body.String())
	for _, want := range []string{
		"What is known of the baseline in force: final.", "follows its own case, -0.020 ±0.0", "accepted 2026-11-08", "Learnt since then, without a change of what was accepted: 2026-11-",
	} {
		require.Contains(t, page, want)
	}
	answer := s.get("/api/v1/commissioning?resource=unit/a1-room").Body.String()
	for _, want := range []string{`"learning":{"phase":"final"`, `"temp_source":"own case"`, `"refined":[{"time":`, `"temp_coeff_se":`} {
		require.Contains(t, answer, want)
	}
}

func TestLasersAreShown(t *testing.T) {
	s := newStage(t, makeFleet(1, 1), day)
	require.NotContains(t, s.get("/units/a1-room").Body.String(), `id="lasers"`)
	bias := collector.Point{Quantity: collector.LaserBias}
	for i := range s.engine.units {
		pv := s.engine.units[i].Points[bias]
		pv.Laser = &drift.LaserTrend{
			Phase: drift.LaserKnown, Index: 0.123, IndexSE: 0.004, PerMonth: 0.02, MonthSE: 0.003, Grade: 1, Passed: 0.1, Next: 0.2, Judged: day.Truncate(24 * time.Hour),
			Since: day.AddDate(0, -4, 0), ColdC: 22, HotC: 49, HasForecast: true, Earliest: 70 * 24 * time.Hour, Expected: 90 * 24 * time.Hour, Latest: 120 * 24 * time.Hour,
		}
		s.engine.units[i].Points[bias] = pv
	}
	s.engine.change()
	page := html.UnescapeString(s.get("/units/a1-room").Body.String())
	for _, want := range []string{`id="lasers"`, ">aged<", "+12.3 ± 0.4 %", "+2.0 ± 0.3 %", "+20 % between 2 and 4 months from 2026-11-25 on", "22 to 49 °C"} {
		require.Contains(t, page, want)
	}
	require.Contains(t, s.get("/api/v1/units/a1-room").Body.String(), `"ageing_index":0.123`)
}
