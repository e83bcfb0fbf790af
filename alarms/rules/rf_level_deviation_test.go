package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

const (
	roomOut  = "unit/room-1/rf_output_level"
	roofIn   = "unit/roof-1/rf_input_level"
	feedAt   = "unit/roof-1/antenna_feed_state"
	feedAmps = "unit/roof-1/lna_current"
)

func TestRFSizes(t *testing.T) {
	for _, c := range []struct {
		name   string
		spread float64
		by     float64
		was    alarms.Severity
		want   string
	}{
		{"just not", 0.1, -2.99, 0, "clear"},
		{"minor", 0.1, -3, 0, "minor"},
		{"minor up", 0.1, 3, 0, "minor"},
		{"minor stays", 0.1, -2.01, alarms.Minor, "minor"},
		{"minor clears", 0.1, -1.99, alarms.Minor, "clear"},
		{"just not major", 0.1, -5.99, 0, "minor"},
		{"major", 0.1, -6, 0, "major"},
		{"major stays", 0.1, 5.01, alarms.Major, "major"},
		{"major falls back", 0.1, 4.99, alarms.Major, "minor"},
		{"noisy, just not", 1, -5.99, 0, "clear"},
		{"noisy, six sigma", 1, -6, 0, "minor"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			s.base("roof-1", "rf_input_level", -60, c.spread)
			s.shift("roof-1", "rf_input_level", c.by)
			if c.was != 0 {
				s.raise(rules.RFLevelDeviation, roofIn, c.was)
			}
			s.expect(c.want, rules.RFLevelDeviation, roofIn)
		})
	}
}

// TestWhatTheLightExplains: RF falls two decibels for each optical one
// (Federal Standard 1037C); ratios from 1.6 to 2.4 count as a real optical
// loss, 0 is gain control or a drifting monitor. The second row is check value
// 72 of link physics, the third 73.
func TestWhatTheLightExplains(t *testing.T) {
	for _, c := range []struct {
		name                   string
		light, input, agc, out float64
		want                   string
	}{
		{"nothing moved", 0, 0, 0, 0, "clear"},
		{"real optical loss, q 1.95", -2, 0, 0, -3.9, "clear"},
		{"monitor drift or gain control, q 0", -2, 0, 0, 0, "clear"},
		{"ratio 2.4 and not quite 3 dB more", -2, 0, 0, -7.79, "clear"},
		{"ratio 2.4 and 3 dB more", -2, 0, 0, -7.81, "minor"},
		{"RF up though the light fell", -2, 0, 0, 3, "minor"},
		{"RF alone", 0, 0, 0, -3, "minor"},
		{"more light, more RF", 2, 0, 0, 4.8, "clear"},
		{"the antenna's loss", 0, -8, 0, -8, "clear"},
		{"the antenna's loss and more", 0, -8, 0, -11, "minor"},
		{"gain control turned down", 0, 0, 4, -4, "clear"},
		{"gain control makes up for the antenna", 0, -8, -8, 0, "clear"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			s.shift("room-1", "optical_receive_power", c.light)
			s.shift("roof-1", "rf_input_level", c.input)
			s.shift("room-1", "agc_attenuation", c.agc)
			s.shift("room-1", "rf_output_level", c.out)
			s.expect(c.want, rules.RFLevelDeviation, roomOut)
		})
	}
}

func TestRFIsUnknownWhenTheLightIs(t *testing.T) {
	for name, spoil := range map[string]func(*scene){
		"dark":                 func(s *scene) { s.dim("room-1") },
		"light not read":       func(s *scene) { s.quality("room-1", "optical_receive_power", collector.Broken) },
		"not commissioned":     func(s *scene) { s.units["room-1"].Baselined = false },
		"RF itself not read":   func(s *scene) { s.quality("room-1", "rf_output_level", collector.Unavailable) },
		"unit does not answer": func(s *scene) { s.fail(collector.ErrNoAnswer, "room-1") },
	} {
		t.Run(name, func(t *testing.T) {
			s := pairs(t, 1)
			s.read("room-1", "rf_output_level", -110)
			spoil(s)
			s.unknown(rules.RFLevelDeviation, roomOut)
		})
	}
}

func TestAnAntennaIsOneAlarm(t *testing.T) {
	s := pairs(t, 1)
	s.shift("roof-1", "rf_input_level", -8)
	s.shift("room-1", "rf_output_level", -8)
	require.Equal(t, []string{"rf-level-deviation " + roofIn}, s.standing())
	v := s.active(rules.RFLevelDeviation, roofIn)
	require.Equal(t, []string{"link/l1"}, v.Details.Impacted)
	require.Equal(t, "roof-1: RF input level is more than 6.0 dB below what its baseline of -60.0 dBm (2026-11-01) and the light explain. First check antenna, coax and connectors.", v.Text)
	require.Contains(t, v.Explains, key(rules.RFLevelDeviation, roomOut))
}

func TestTooMuchRF(t *testing.T) {
	s := pairs(t, 1)
	s.shift("roof-1", "rf_input_level", 8)
	v := s.active(rules.RFLevelDeviation, roofIn)
	require.Contains(t, v.Text, "more than 6.0 dB above")
	require.InDelta(t, -54, *v.Details.Threshold, 1e-9)
	require.InDelta(t, -52, *v.Details.Observed, 1e-9)
}
