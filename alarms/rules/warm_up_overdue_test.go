package rules_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

// TestWarmUp: below about -30 °C units hold the laser until a heater has
// warmed it (common practice; link physics 4.5).
func TestWarmUp(t *testing.T) {
	for _, c := range []struct {
		name    string
		running time.Duration
		c       float64
		laser   string
		raised  bool
		want    string // of warm-up-overdue
		judged  bool   // light at both ends is judged
	}{
		{"warm", 240 * time.Hour, 31, collector.StateOn, false, "clear", true},
		{"just started, warm", time.Minute, 31, collector.StateOn, false, "clear", true},
		{"just started, at the limit", time.Minute, -30, collector.StateOn, false, "clear", true},
		{"just started, cold", time.Minute, -30.1, collector.StateOn, false, "unknown", false},
		{"just started, laser warming", time.Minute, -10, collector.StateWarming, false, "unknown", false},
		{"last moment", 20 * time.Minute, -35, collector.StateWarming, false, "unknown", false},
		{"overdue", 20*time.Minute + time.Second, -35, collector.StateOn, false, "major", true},
		{"overdue by the laser's word", time.Hour, -10, collector.StateWarming, false, "major", true},
		{"not a kelvin back", time.Hour, -29.1, collector.StateOn, true, "major", true},
		{"a kelvin back", time.Hour, -29, collector.StateOn, true, "clear", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			ownAddress(s)
			s.units["roof-1"].StartedAt = now.Add(-c.running)
			s.read("roof-1", "temperature", c.c)
			s.say("roof-1", "laser_state", c.laser)
			s.shift("roof-1", "optical_transmit_power", -4)
			s.shift("room-1", "optical_receive_power", -4)
			if c.raised {
				s.raise(rules.WarmUpOverdue, roofUnit, alarms.Major)
			}
			s.expect(c.want, rules.WarmUpOverdue, roofUnit)
			want := "unknown"
			if c.judged {
				want = "major"
			}
			s.expect(want, rules.SignalDegraded, "unit/roof-1/optical_transmit_power")
			s.expect(want, rules.SignalDegraded, roomRx)
			s.dim("room-1")
			if c.judged {
				want = "critical"
			}
			s.expect(want, rules.SignalLost, roomRx)
		})
	}
}

func TestHeaterOnAloneSuppressesOnlyInTime(t *testing.T) {
	s := pairs(t, 1)
	ownAddress(s)
	s.say("roof-1", "heater_state", collector.StateOn)
	s.read("roof-1", "optical_transmit_power", -45)
	s.units["roof-1"].StartedAt = now.Add(-time.Minute)
	s.unknown(rules.LaserFailed, "unit/roof-1/optical_transmit_power")
	s.units["roof-1"].StartedAt = now.Add(-time.Hour)
	s.expect("critical", rules.LaserFailed, "unit/roof-1/optical_transmit_power")
	s.inactive(rules.WarmUpOverdue, roofUnit)
}

func TestWarmUpNeedsToKnowTheStart(t *testing.T) {
	s := pairs(t, 1)
	s.read("roof-1", "temperature", -35)
	s.units["roof-1"].StartedAt = time.Time{}
	s.unknown(rules.WarmUpOverdue, roofUnit)
	s.unknown(rules.WarmUpOverdue, "unit/room-1") // a type that never warms up
}

func TestAColdUnitIsOneAlarm(t *testing.T) {
	s := pairs(t, 1)
	ownAddress(s)
	s.units["roof-1"].StartedAt = now.Add(-time.Hour)
	s.read("roof-1", "temperature", -45)
	s.read("roof-1", "optical_transmit_power", -45)
	s.dim("room-1")
	require.Equal(t, []string{"warm-up-overdue " + roofUnit}, s.standing())
	require.Equal(t, "roof-1 has been started in the cold and is not warm after the 20m0s it may take. First check its heater.", s.active(rules.WarmUpOverdue, roofUnit).Text)
}
