package rules_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/alarms/rules"
)

const (
	roomBias  = "unit/room-1/laser_bias"
	roomSends = "unit/room-1/optical_transmit_power"
)

// aged is a laser whose model is known and that was judged yesterday.
func aged(grade int, index float64) *drift.LaserTrend {
	limits := []float64{0, 0.1, 0.2, 0.5, 0}
	return &drift.LaserTrend{
		Phase: drift.LaserKnown, Days: 200, Index: index, IndexSE: 0.006, PerMonth: 0.021, MonthSE: 0.002, Grade: grade,
		Passed: limits[grade], Next: limits[grade+1], Since: now.AddDate(0, -5, 0), Judged: now.Truncate(24 * time.Hour), ColdC: 22, HotC: 49,
		CharK: 60, HotBiasMA: 33, HasForecast: grade < 3,
		Earliest: 100 * 24 * time.Hour, Expected: 150 * 24 * time.Hour, Latest: 220 * 24 * time.Hour,
	}
}

func (s *scene) age(unit string, t *drift.LaserTrend) {
	s.change(unit, "laser_bias", func(pv *alarms.PointView) { pv.Laser = t })
}

func TestGradesOfALaser(t *testing.T) {
	for _, c := range []struct {
		grade    int
		index    float64
		severity alarms.Severity // 0: sound
	}{{0, 0.09, 0}, {1, 0.12, alarms.Warning}, {2, 0.23, alarms.Minor}, {3, 0.55, alarms.Major}} {
		s := pairs(t, 1)
		s.age("room-1", aged(c.grade, c.index))
		if c.severity == 0 {
			s.inactive(rules.LaserAgeing, roomBias)
			continue
		}
		v := s.active(rules.LaserAgeing, roomBias)
		require.Equal(t, c.severity, v.Severity)
		require.InDelta(t, 100*c.index, *v.Details.Observed, 1e-9)
		require.Equal(t, []string{"link/l1"}, v.Details.Impacted)
		require.Empty(t, v.Explains)
		require.NotEmpty(t, v.Details.Cautions)
		require.True(t, v.Steady)
	}
}

func TestTextOfAnAgeingLaser(t *testing.T) {
	s := pairs(t, 1)
	s.age("room-1", aged(2, 0.234))
	text := s.active(rules.LaserAgeing, roomBias).Text
	for _, want := range []string{
		"takes 23 % (give or take 1) more current than when it was new, at equal temperature",                     // how much, how sure
		"noticeable since " + now.AddDate(0, -5, 0).Format(time.DateOnly),                                         // since when
		"now 2.1 % (give or take 0.4) a month",                                                                    // how fast
		"+50 % is reached between 3 and 8 months from " + now.Format(time.DateOnly) + " on (80 of 100 such forec", // how long left
		"First plan to exchange the laser module",
	} {
		require.Contains(t, text, want)
	}

	unsure := aged(1, 0.11)
	unsure.HasForecast, unsure.PerMonth = false, 0.001
	s.age("room-1", unsure)
	text = s.active(rules.LaserAgeing, roomBias).Text
	require.Contains(t, text, "How long it lasts cannot be told yet")
	require.NotContains(t, text, "a month")

	s.age("room-1", aged(3, 0.55))
	require.Contains(t, s.active(rules.LaserAgeing, roomBias).Text, "end of its life by common practice")
}

// Beyond the temperatures that a laser was learnt at there is no verdict: what
// stands stays, and says so; nothing new is raised.
func TestAnAgeingThatCannotBeJudged(t *testing.T) {
	s := pairs(t, 1)
	standing := aged(1, 0.12)
	standing.MissedDays = 12
	s.age("room-1", standing)
	require.Contains(t, s.active(rules.LaserAgeing, roomBias).Text, "Not judged for 12 days: the case is outside the 22 to 49 °C")

	s.units["room-1"].Unit.Equipment.Limits.BiasMaxMA = nil // else the driver is judged
	sound := aged(0, 0.05)
	sound.MissedDays = 12
	s.age("room-1", sound)
	s.unknown(rules.LaserAgeing, roomBias)
	s.age("room-1", &drift.LaserTrend{Phase: drift.LaserLearning, Days: 5})
	s.unknown(rules.LaserAgeing, roomBias)
}

// TestDriverNearItsLimit: the model's largest current is 60 mA; near is 54,
// back is 1.8 less.
func TestDriverNearItsLimit(t *testing.T) {
	for _, c := range []struct {
		bias     float64
		was      alarms.Severity
		severity alarms.Severity // 0: sound
	}{
		{53.9, 0, 0}, {54, 0, alarms.Minor}, {59.9, 0, alarms.Minor}, {60, 0, alarms.Major},
		{52.3, alarms.Minor, alarms.Minor}, {52.1, alarms.Minor, 0}, {58.3, alarms.Major, alarms.Major}, {58.1, alarms.Major, alarms.Minor},
	} {
		s := pairs(t, 1)
		if c.was != 0 {
			s.raise(rules.LaserAgeing, roomBias, c.was)
		}
		s.age("room-1", aged(0, 0))
		s.read("room-1", "laser_bias", c.bias)
		if c.severity == 0 {
			s.inactive(rules.LaserAgeing, roomBias)
			continue
		}
		v := s.active(rules.LaserAgeing, roomBias)
		require.Equal(t, c.severity, v.Severity, c)
		require.Contains(t, v.Text, "the driver gives 60 mA at most: soon it cannot hold the light")
		require.Equal(t, "mA", v.Details.Unit)
	}
}

// A driver at its end explains that the light goes.
func TestASpentDriverIsTheCause(t *testing.T) {
	s := pairs(t, 1)
	s.read("room-1", "laser_bias", 60)
	s.shift("room-1", "optical_transmit_power", -2)
	v := s.active(rules.LaserAgeing, roomBias)
	require.Contains(t, v.Text, "cannot hold the light, which is 2.0 dB below its baseline")
	require.Contains(t, v.Explains, alarms.Key{Resource: roomSends, Type: rules.SignalDegraded})
	require.Equal(t, []string{rules.LaserAgeing + " " + roomBias}, s.standing())
}

func TestALaserThatWillNotBearTheHeat(t *testing.T) {
	s := pairs(t, 1)
	hot := aged(1, 0.12)
	hot.HotBiasMA = 63
	s.age("room-1", hot)
	s.read("room-1", "laser_bias", 55)
	v := s.active(rules.LaserAgeing, roomBias)
	require.Equal(t, alarms.Minor, v.Severity)
	require.Contains(t, v.Text, "At 49 °C, where it has been, it would need 63.0 mA")
}

func TestWithoutALimitAndATrendNothingIsSaid(t *testing.T) {
	s := pairs(t, 1)
	s.units["room-1"].Unit.Equipment.Limits.BiasMaxMA = nil
	s.unknown(rules.LaserAgeing, roomBias)
	s.age("room-1", aged(0, 0))
	s.inactive(rules.LaserAgeing, roomBias)
}
