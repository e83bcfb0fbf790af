package rules_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

// TestLoss: 1 dB is three times a monitor's repeatability of 0.1 to 0.3 dB, 3
// dB are 6 dB of RF (Federal Standard 1037C, "transfer function").
func TestLoss(t *testing.T) {
	for _, c := range []struct {
		name   string
		spread float64
		by     float64
		was    alarms.Severity
		want   string
	}{
		{"as it was", 0.02, 0, 0, "clear"},
		{"better", 0.02, 2, 0, "clear"},
		{"just not", 0.02, -0.99, 0, "clear"},
		{"minor", 0.02, -1.0, 0, "minor"},
		{"minor stays", 0.02, -0.71, alarms.Minor, "minor"},
		{"minor clears", 0.02, -0.69, alarms.Minor, "clear"},
		{"just not major", 0.02, -2.99, 0, "minor"},
		{"major", 0.02, -3.0, 0, "major"},
		{"major stays", 0.02, -2.71, alarms.Major, "major"},
		{"major falls back", 0.02, -2.69, alarms.Major, "minor"},
		{"noisy, just not", 0.3, -1.79, 0, "clear"},
		{"noisy, six sigma", 0.3, -1.8, 0, "minor"},
		{"noisy, three sigma back", 0.3, -0.91, alarms.Minor, "minor"},
		{"noisy, clear", 0.3, -0.89, alarms.Minor, "clear"},
		{"very noisy, major at one and a half", 0.6, -5.39, 0, "minor"},
		{"very noisy, major", 0.6, -5.4, 0, "major"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			s.base("room-1", "optical_receive_power", -3, c.spread)
			s.shift("room-1", "optical_receive_power", c.by)
			if c.was != 0 {
				s.raise(rules.SignalDegraded, roomRx, c.was)
			}
			s.expect(c.want, rules.SignalDegraded, roomRx)
		})
	}
}

func TestLimitsOfTheReceiver(t *testing.T) {
	for _, c := range []struct {
		name     string
		baseline float64
		dbm      float64
		was      alarms.Severity
		want     string
	}{
		{"at the least", -11.5, -12, 0, "clear"},
		{"below the least", -11.5, -12.01, 0, "major"},
		{"half a decibel back, not yet", -11.5, -11.51, alarms.Major, "major"},
		{"back", -11.5, -11.5, alarms.Major, "clear"},
		{"at the most", 3, 3, 0, "clear"},
		{"above the most", 3, 3.01, 0, "minor"},
		{"half a decibel below the most, not yet", 3, 2.51, alarms.Minor, "minor"},
		{"below the most", 3, 2.5, alarms.Minor, "clear"},
	} {
		for _, baselined := range []bool{true, false} {
			t.Run(c.name, func(t *testing.T) {
				s := pairs(t, 1)
				s.base("room-1", "optical_receive_power", c.baseline, 0.02)
				if !baselined {
					s.change("room-1", "optical_receive_power", func(pv *alarms.PointView) { pv.Baseline = nil })
				}
				s.read("room-1", "optical_receive_power", c.dbm)
				if c.was != 0 {
					s.raise(rules.SignalDegraded, roomRx, c.was)
				}
				s.expect(c.want, rules.SignalDegraded, roomRx)
			})
		}
	}
}

// TestTextFollowsSeverityOnly: noise must not write history.
func TestTextFollowsSeverityOnly(t *testing.T) {
	texts := map[string]bool{}
	for by := -1.0; by > -2.9; by -= 0.05 {
		s := pairs(t, 1)
		s.shift("room-1", "optical_receive_power", by)
		v := s.active(rules.SignalDegraded, roomRx)
		texts[v.Text] = true
		require.InDelta(t, -3.2+by, *v.Details.Observed, 0.005)
	}
	require.Equal(t, map[string]bool{
		"room-1: optical receive power has lost more than 1.0 dB since its baseline of -3.2 dBm (2026-11-01); the receiver needs -12.0 dBm. First clean and re-seat the connectors at both ends.": true,
	}, texts)
}

func TestDegradedIsNotLost(t *testing.T) {
	s := pairs(t, 1)
	s.dim("room-1")
	s.unknown(rules.SignalDegraded, roomRx)
}

func TestWithoutABaselineOnlyLimitsCount(t *testing.T) {
	s := pairs(t, 1)
	s.change("room-1", "optical_receive_power", func(pv *alarms.PointView) { pv.Baseline = nil })
	s.read("room-1", "optical_receive_power", -9)
	s.inactive(rules.SignalDegraded, roomRx)
	const tx = "unit/room-1/optical_transmit_power"
	s.change("room-1", "optical_transmit_power", func(pv *alarms.PointView) { pv.Baseline = nil })
	s.unknown(rules.SignalDegraded, tx)
}

// TestAWeakConnectorIsOneAlarm: -2 dB of light are -3.9 dB of RF (fault table
// of link physics, row 1).
func TestAWeakConnectorIsOneAlarm(t *testing.T) {
	s := pairs(t, 2)
	s.shift("room-1", "optical_receive_power", -2)
	s.shift("room-1", "rf_output_level", -3.9)
	require.Equal(t, []string{"optical-signal-degraded " + roomRx}, s.standing())
	require.Equal(t, []string{"link/l1"}, s.active(rules.SignalDegraded, roomRx).Details.Impacted)
}

// TestATransmitterOrThePath: T1 of link physics: what the transmitter lacks is
// what the receiver misses.
func TestATransmitterOrThePath(t *testing.T) {
	for _, c := range []struct {
		name     string
		sent     float64
		received float64
		want     []string
	}{
		{"transmitter", -2, -2.1, []string{"optical-signal-degraded unit/roof-1/optical_transmit_power"}},
		{"path", 0, -2, []string{"optical-signal-degraded " + roomRx}},
		{"both", -2, -3.1, []string{"optical-signal-degraded unit/roof-1/optical_transmit_power", "optical-signal-degraded " + roomRx}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			s.shift("roof-1", "optical_transmit_power", c.sent)
			s.shift("room-1", "optical_receive_power", c.received)
			require.ElementsMatch(t, c.want, s.standing())
		})
	}
}

func TestOldReadingsDoNotCount(t *testing.T) {
	s := pairs(t, 1)
	s.dim("room-1")
	s.shift("roof-1", "optical_receive_power", -2)
	s.unknown(rules.SignalDegraded, "unit/roof-1/optical_receive_power")
}

// TestSeenIsWhenTheUnitMeasured: the same old value is not new evidence.
func TestSeenIsWhenTheUnitMeasured(t *testing.T) {
	s := pairs(t, 1)
	s.shift("roof-1", "optical_receive_power", -2)
	s.change("roof-1", "optical_receive_power", func(pv *alarms.PointView) { pv.Reading.Age = 40 * time.Second })
	require.Equal(t, now.Add(-40*time.Second), s.active(rules.SignalDegraded, "unit/roof-1/optical_receive_power").Seen)
}

func TestASpareReceiverHasNoLimits(t *testing.T) {
	kind := roofKind
	kind.Points = points("optical_receive_power/1", "optical_receive_power/2")
	s := newScene(t)
	s.unit("roof", collector.Outdoor, kind, "")
	s.unit("room-1", collector.Indoor, rackKind, "")
	s.link("l1", "roof", "room-1", "riser", 1)
	s.change("roof", "optical_receive_power/2", func(pv *alarms.PointView) { pv.Baseline = nil })
	s.read("roof", "optical_receive_power/2", -20)
	s.unknown(rules.SignalDegraded, "unit/roof/optical_receive_power/2")
}

// TestCommonLoss: both fibres of a pair, or all of a cable, weak together are
// a bend, a closure or a cable, not connectors (T3 of link physics 6).
func TestCommonLoss(t *testing.T) {
	const link, cable = "optical-signal-degraded link/l1", "optical-signal-degraded cable/riser"
	weaken := func(s *scene, by float64, units ...string) {
		for _, u := range units {
			s.shift(u, "optical_receive_power", by)
			s.shift(u, "rf_output_level", 2*by)
		}
	}
	for _, c := range []struct {
		name string
		do   func(*scene)
		want []string
	}{
		{"a pair", func(s *scene) { weaken(s, -1.5, "room-1", "roof-1") }, []string{link}},
		{"a pair, one fibre not quite", func(s *scene) { weaken(s, -1.5, "room-1"); weaken(s, -0.9, "roof-1") }, []string{"optical-signal-degraded " + roomRx}},
		{"a cable", func(s *scene) { weaken(s, -1.5, "room-1", "roof-1", "room-2", "roof-2") }, []string{cable}},
		{"all but one of a cable", func(s *scene) { weaken(s, -1.5, "room-1", "roof-1", "room-2") }, []string{link, "optical-signal-degraded unit/room-2/optical_receive_power"}},
		{"what can be read of a cable", func(s *scene) {
			weaken(s, -1.5, "room-1", "room-2")
			s.fail(collector.ErrMalformed, "roof-1", "roof-2")
		}, []string{cable, "unit-unreachable unit/roof-1", "unit-unreachable unit/roof-2"}},
		{"two weak lasers", func(s *scene) {
			weaken(s, -1.5, "room-1", "roof-1")
			s.shift("room-1", "optical_transmit_power", -1.5)
			s.shift("roof-1", "optical_transmit_power", -1.5)
		}, []string{"optical-signal-degraded unit/room-1/optical_transmit_power", "optical-signal-degraded unit/roof-1/optical_transmit_power"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 2)
			c.do(s)
			require.ElementsMatch(t, c.want, s.standing())
		})
	}
	s := pairs(t, 1)
	weaken(s, -1.5, "room-1", "roof-1")
	weaken(s, -3.5, "roof-1")
	v := s.active(rules.SignalDegraded, "cable/riser")
	require.Equal(t, alarms.Major, v.Severity)
	require.InDelta(t, 3.5, *v.Details.Observed, 1e-9)
	require.Equal(t, []string{"link/l1"}, v.Details.Impacted)
}
