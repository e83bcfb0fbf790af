package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

func TestFeedState(t *testing.T) {
	for state, want := range map[string]string{collector.StateGood: "clear", collector.StateOpen: "major", collector.StateShort: "major"} {
		s := pairs(t, 1)
		s.say("roof-1", "antenna_feed_state", state)
		s.expect(want, rules.AntennaFeedFault, feedAt)
		if want == "major" {
			require.True(t, s.active(rules.AntennaFeedFault, feedAt).Direct)
			require.Contains(t, s.active(rules.AntennaFeedFault, feedAt).Text, state+" circuit at the antenna port")
			s.unknown(rules.AntennaFeedFault, feedAmps)
		}
	}
	s := pairs(t, 1)
	s.quality("roof-1", "antenna_feed_state", collector.Unavailable)
	s.unknown(rules.AntennaFeedFault, feedAt)
}

func TestFeedCurrent(t *testing.T) {
	for _, c := range []struct {
		name   string
		ma     float64
		raised bool
		want   string
	}{
		{"at the least", 5, false, "clear"},
		{"open", 4.9, false, "major"},
		{"not five per cent back", 5.24, true, "major"},
		{"five per cent back", 5.26, true, "clear"},
		{"at the most", 300, false, "clear"},
		{"short", 300.1, false, "major"},
		{"not five per cent down", 285.1, true, "major"},
		{"five per cent down", 285, true, "clear"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			s.read("roof-1", "lna_current", c.ma)
			if c.raised {
				s.raise(rules.AntennaFeedFault, feedAmps, alarms.Major)
			}
			s.expect(c.want, rules.AntennaFeedFault, feedAmps)
		})
	}
	s := pairs(t, 1)
	s.units["roof-1"].Unit.Equipment.Limits = collector.Limits{}
	s.unknown(rules.AntennaFeedFault, feedAmps)
}

// TestAFeedFaultIsOneAlarm: row 14 of the fault table of link physics.
func TestAFeedFaultIsOneAlarm(t *testing.T) {
	s := pairs(t, 1)
	s.say("roof-1", "antenna_feed_state", collector.StateOpen)
	s.read("roof-1", "lna_current", 0)
	s.shift("roof-1", "rf_input_level", -30)
	s.shift("room-1", "rf_output_level", -25)
	require.Equal(t, []string{"antenna-feed-fault " + feedAt}, s.standing())
}
