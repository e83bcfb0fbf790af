package rules_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

const (
	roomLight = "unit/room-1/optical_receive_power"
	roofSends = "unit/roof-1/optical_transmit_power"
	days      = 24 * time.Hour
)

// fade has a point drift.
func (s *scene) fade(unit, name string, lost float64, forecasts ...alarms.Forecast) {
	s.trend(unit, name, func(t *drift.Trend) {
		t.Drift, t.Since = true, onBaseDay
		t.LostDB, t.SinceFirstDB, t.LostSE, t.SlopeDBPerMonth, t.SlopeSE = lost, lost, 0.02, 0.1, 0.01
	})
	s.change(unit, name, func(pv *alarms.PointView) { pv.Forecasts = forecasts })
}

func forecast(limit string, loss float64, low, high time.Duration) alarms.Forecast {
	return alarms.NewForecast(limit, loss, now.Add(-time.Hour), drift.Forecast{Lower: low, Middle: (low + high) / 2, Upper: high, Share: 0.2})
}

func TestDriftIsGradedByTheTimeLeft(t *testing.T) {
	for _, c := range []struct {
		name string
		left time.Duration // early end; 0: not known
		lost float64
		was  alarms.Severity
		want string
	}{
		{"years", 700 * days, 0.2, 0, "warning"},
		{"unknown", 0, 0.2, 0, "warning"},
		{"just not half a year", 181 * days, 0.2, 0, "warning"},
		{"half a year", 180 * days, 0.2, 0, "minor"},
		{"stays minor until a quarter more is left", 220 * days, 0.2, alarms.Minor, "minor"},
		{"warning again", 230 * days, 0.2, alarms.Minor, "warning"},
		{"a month", 30 * days, 0.2, 0, "major"},
		{"stays major", 37 * days, 0.2, alarms.Major, "major"},
		{"minor again", 39 * days, 0.2, alarms.Major, "minor"},
		{"a decibel lost", 700 * days, 1, 0, "minor"},
		{"three decibels lost", 0, 3, 0, "major"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			var all []alarms.Forecast
			if c.left > 0 {
				all = append(all, forecast(alarms.LimitLoss, 3, 2*c.left, 4*c.left), forecast(alarms.LimitReceiver, 2.5, c.left, 3*c.left))
			}
			s.fade("room-1", "optical_receive_power", c.lost, all...)
			if c.was != 0 {
				s.raise(rules.Drift, roomLight, c.was)
			}
			s.expect(c.want, rules.Drift, roomLight)
		})
	}
}

// TestAnEarlyGuessIsNoHurry: below a tenth of the limit forecasts are wide.
func TestAnEarlyGuessIsNoHurry(t *testing.T) {
	s := pairs(t, 1)
	f := forecast(alarms.LimitLoss, 3, 10*days, 300*days)
	f.Share = 0.09
	s.fade("room-1", "optical_receive_power", 0.27, f)
	s.expect("minor", rules.Drift, roomLight)
	s.fade("room-1", "optical_receive_power", 0.03, f)
	s.expect("warning", rules.Drift, roomLight) // within its error: on the way back
	require.Contains(t, s.active(rules.Drift, roomLight).Text, "cannot be told yet")
	f.Share = 0.1
	s.fade("room-1", "optical_receive_power", 0.3, f)
	s.expect("major", rules.Drift, roomLight)
}

func TestDriftText(t *testing.T) {
	s := pairs(t, 1)
	s.fade("room-1", "optical_receive_power", 0.4, forecast(alarms.LimitLoss, 3, 70*days, 320*days))
	v := s.active(rules.Drift, roomLight)
	require.Equal(t, "room-1: optical receive power falls slowly: 0.40 dB (give or take 0.04) lost against -3.2 dBm at its baseline, now 0.10 dB (give or take 0.02) a month; "+
		"noticed on 2026-11-01. If it goes on, 3 dB are lost between 2 and 11 months from 2026-11-25 on (80 of 100 such forecasts hold). First clean and re-seat the connectors at both ends.", v.Text)
	require.True(t, v.Steady, "a forecast that moves does not fill the history")
	require.InDelta(t, 0.4, *v.Details.Observed, 1e-9)
	require.InDelta(t, 3, *v.Details.Threshold, 1e-9)
	require.Len(t, v.Details.Forecasts, 1)
	require.Equal(t, []string{"link/l1"}, v.Details.Impacted)
	require.NotEmpty(t, v.Details.Cautions)

	s.trend("room-1", "optical_receive_power", func(t *drift.Trend) { t.SinceFirstDB, t.SlopeDBPerMonth = 0.9, 0.01 })
	s.change("room-1", "optical_receive_power", func(pv *alarms.PointView) { pv.Forecasts = nil })
	require.Equal(t, "room-1: optical receive power falls slowly: 0.40 dB (give or take 0.04) lost against -3.2 dBm at its baseline, after 0.50 dB before the last visit; "+
		"noticed on 2026-11-01. How long it lasts cannot be told yet. First clean and re-seat the connectors at both ends.", s.active(rules.Drift, roomLight).Text)

	s.fade("room-1", "optical_receive_power", 0.4, forecast(alarms.LimitReceiver, 2.44, 20*days, 30*days))
	require.Contains(t, s.active(rules.Drift, roomLight).Text, "the 2.4 dB that the receiver can spare are lost between 20 and 30 days")
}

func TestDriftNeedsEvidence(t *testing.T) {
	s := pairs(t, 1)
	s.inactive(rules.Drift, roomLight)
	s.fade("room-1", "optical_receive_power", 0.4)
	s.units["room-1"].Baselined = false
	s.unknown(rules.Drift, roomLight)
	s.units["room-1"].Baselined = true
	s.fail(collector.ErrNoAnswer, "room-1")
	s.unknown(rules.Drift, roomLight)
	s = pairs(t, 1)
	s.change("room-1", "optical_receive_power", func(pv *alarms.PointView) { pv.Trend = nil })
	s.unknown(rules.Drift, roomLight)
}

// TestADriftingLaserExplainsItsReceiver: T1 of the fault tests: a receiver follows its
// laser.
func TestADriftingLaserExplainsItsReceiver(t *testing.T) {
	s := pairs(t, 1)
	s.fade("roof-1", "optical_transmit_power", 0.4)
	s.fade("room-1", "optical_receive_power", 0.4)
	require.Equal(t, []string{"optical-drift " + roofSends}, s.standing())
	require.Contains(t, s.active(rules.Drift, roofSends).Text, "First compare with a power meter at the transmit port.")
}

func TestALargeLossSpeaksForItsDrift(t *testing.T) {
	s := pairs(t, 1)
	s.fade("room-1", "optical_receive_power", 1.2)
	s.shift("room-1", "optical_receive_power", -1.2)
	require.Len(t, s.standing(), 2, "a level on its way over the limit may go back")
	s.raise(rules.SignalDegraded, roomLight, alarms.Minor)
	require.Equal(t, []string{"optical-signal-degraded " + roomLight}, s.standing())
}

func TestAStepBelowTheLevels(t *testing.T) {
	for _, c := range []struct {
		lost float64
		want string
	}{{0.1, "clear"}, {0.35, "warning"}, {0.49, "warning"}, {0.5, "minor"}} {
		s := pairs(t, 1)
		s.shift("room-1", "optical_receive_power", -c.lost)
		s.trend("room-1", "optical_receive_power", func(t *drift.Trend) { t.Step, t.StepDB, t.Since = true, c.lost, onBaseDay })
		s.expect(c.want, rules.SignalDegraded, roomLight)
		if c.want != "clear" {
			require.Contains(t, s.active(rules.SignalDegraded, roomLight).Text, "at once on 2026-11-01 and has stayed there")
		}
	}
	s := pairs(t, 1)
	s.shift("room-1", "optical_receive_power", -1.1)
	s.trend("room-1", "optical_receive_power", func(t *drift.Trend) { t.Step, t.StepDB = true, 1.1 })
	require.Contains(t, s.active(rules.SignalDegraded, roomLight).Text, "more than 1.0 dB", "the level counts where it is enough")
}

func TestIntermittent(t *testing.T) {
	s := pairs(t, 1)
	s.inactive(rules.Intermittent, roomLight)
	s.trend("room-1", "optical_receive_power", func(t *drift.Trend) { t.Intermittent, t.Since = true, onBaseDay })
	s.expect("minor", rules.Intermittent, roomLight)
	v := s.active(rules.Intermittent, roomLight)
	require.Equal(t, "room-1: optical receive power drops for moments by half a decibel or more, again and again since 2026-11-01; in between it is right. "+
		"First see at both ends that each plug is home, its key aligned.", v.Text)
	require.Equal(t, []string{"link/l1"}, v.Details.Impacted)
	require.NotEmpty(t, v.Details.Cautions)

	s.trend("roof-1", "optical_transmit_power", func(t *drift.Trend) { t.Intermittent = true })
	require.Equal(t, []string{"optical-intermittent " + roofSends}, s.standing())
	s.fail(collector.ErrNoAnswer, "room-1")
	s.unknown(rules.Intermittent, roomLight)
}
