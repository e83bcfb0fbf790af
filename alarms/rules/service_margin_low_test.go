package rules_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
)

// tight is a link whose gain control makes up for 4 dB of light: 8 dB of
// reserve at commissioning, and two decibels of RF for each optical one.
func tight(t testing.TB) *scene {
	s := pairs(t, 1)
	s.base("room-1", "agc_attenuation", 8, 0.1)
	return s
}

func TestMarginSizes(t *testing.T) {
	for _, c := range []struct {
		name string
		lost float64
		was  alarms.Severity
		want string
	}{
		{"nothing lost", 0, 0, "clear"},
		{"3.1 dB left", 0.9, 0, "clear"},
		{"2.9 dB left", 1.1, 0, "minor"},
		{"3.4 dB left, still", 0.6, alarms.Minor, "minor"},
		{"3.6 dB left, over", 0.4, alarms.Minor, "clear"},
		{"1.6 dB left", 2.4, 0, "minor"},
		{"1.4 dB left", 2.6, 0, "major"},
		{"1.9 dB left, still", 2.1, alarms.Major, "major"},
		{"2.1 dB left, falls back", 1.9, alarms.Major, "minor"},
		{"0.4 dB left", 3.6, 0, "critical"},
		{"beyond", 6, 0, "critical"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := tight(t)
			s.shift("room-1", "optical_receive_power", -c.lost)
			if c.was != 0 {
				s.raise(rules.ServiceMarginLow, "link/l1", c.was)
			}
			s.expect(c.want, rules.ServiceMarginLow, "link/l1")
		})
	}
}

// TestAMarginAcceptedSmallIsNoAlarm: who accepted it knows it; a visit brings
// nothing.
func TestAMarginAcceptedSmallIsNoAlarm(t *testing.T) {
	s := tight(t)
	s.base("room-1", "agc_attenuation", 2, 0.1)
	s.expect("clear", rules.ServiceMarginLow, "link/l1")
	s.shift("room-1", "optical_receive_power", -0.6)
	s.expect("critical", rules.ServiceMarginLow, "link/l1")
}

// TestBelowItsSpecifiedLightAReceiverStillWorks: its limit is -12 dBm.
func TestBelowItsSpecifiedLightAReceiverStillWorks(t *testing.T) {
	s := pairs(t, 1)
	s.read("roof-1", "optical_receive_power", -11.5)
	s.expect("major", rules.ServiceMarginLow, "link/l1")
	s.read("roof-1", "optical_receive_power", -12.5)
	s.expect("major", rules.ServiceMarginLow, "link/l1")
	v := s.verdict(rules.ServiceMarginLow, "link/l1")
	require.Contains(t, v.Text, "uplink before the receiver gets too little light")
}

func TestMarginIsUnknown(t *testing.T) {
	for name, spoil := range map[string]func(*scene){
		"dark":      func(s *scene) { s.dim("room-1") },
		"no answer": func(s *scene) { s.units["room-1"].Polled = time.Time{}; s.units["roof-1"].Polled = time.Time{} },
		"laser warms up": func(s *scene) {
			s.units["roof-1"].StartedAt = now.Add(-time.Minute)
			s.read("roof-1", "temperature", -35)
		},
	} {
		s := tight(t)
		s.shift("room-1", "optical_receive_power", -3.9)
		spoil(s)
		require.Nil(t, s.verdict(rules.ServiceMarginLow, "link/l1"), name)
	}
}

// TestOneLossIsOneAlarmAsUrgentAsItsConsequence: the loss explains the margin,
// and takes its severity.
func TestOneLossIsOneAlarmAsUrgentAsItsConsequence(t *testing.T) {
	key := alarms.Key{Resource: "link/l1", Type: rules.ServiceMarginLow}
	for _, c := range []struct {
		lost float64
		want alarms.Severity
	}{{1.1, alarms.Minor}, {2.6, alarms.Major}, {3.6, alarms.Critical}} {
		s := tight(t)
		s.shift("room-1", "optical_receive_power", -c.lost)
		v := s.verdict(rules.SignalDegraded, roomRx)
		require.Equal(t, c.want, v.Severity, c.lost)
		require.Contains(t, v.Explains, key)
	}
	s := pairs(t, 1)
	s.shift("room-1", "optical_receive_power", -1.1)
	require.Equal(t, alarms.Minor, s.verdict(rules.SignalDegraded, roomRx).Severity, "with much left it is as before")
}

// TestMarginTextFollowsSeverityOnly: noise changes no text.
func TestMarginTextFollowsSeverityOnly(t *testing.T) {
	texts := map[alarms.Severity]map[string]bool{}
	for lost := 1.05; lost < 6; lost += 0.01 {
		s := tight(t)
		s.shift("room-1", "optical_receive_power", -lost)
		v := s.verdict(rules.ServiceMarginLow, "link/l1")
		require.True(t, v.Active, lost)
		if texts[v.Severity] == nil {
			texts[v.Severity] = map[string]bool{}
		}
		texts[v.Severity][v.Text] = true
	}
	require.Len(t, texts, 3)
	for severity, of := range texts {
		require.Len(t, of, 1, severity)
	}
}
