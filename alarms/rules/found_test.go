package rules_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
)

// found has the diagnosis find a cause at a resource.
func (s *scene) found(cause, resource string, change ...func(*alarms.Finding)) {
	f := alarms.Finding{
		Cause: cause, Title: "A cause", Resource: resource, Place: "a place", Wording: alarms.Likely, Probability: 0.7,
		Resources: []string{resource}, Actions: []string{"Do this."}, Cautions: []string{"Mind that."},
	}
	for _, c := range change {
		c(&f)
	}
	s.findings = append(s.findings, f)
}

func unsure(f *alarms.Finding) { f.Wording, f.Probability = alarms.Possible, 0.6 }

func TestCrossedPair(t *testing.T) {
	dark := func(t *testing.T) *scene {
		s := pairs(t, 1)
		ownAddress(s)
		s.dim("room-1", "roof-1")
		return s
	}
	s := dark(t)
	require.Equal(t, []string{"optical-signal-lost cable/riser"}, s.standing(), "without a finding it is a cut")
	s.found("pair-crossed", "link/l1", unsure)
	require.Equal(t, []string{"optical-signal-lost cable/riser"}, s.standing(), "one that is not sure enough changes nothing")

	s = dark(t)
	s.found("pair-crossed", "link/l1")
	require.Equal(t, []string{"optical-signal-lost link/l1"}, s.standing())
	v := s.active(rules.SignalLost, "link/l1")
	require.Contains(t, v.Text, "First swap the two plugs at one end.")
	require.Equal(t, []string{"Do this."}, v.Details.Actions)
	require.Equal(t, []string{"Mind that."}, v.Details.Cautions)
	require.Equal(t, []string{"link/l1"}, v.Details.Impacted)
	require.False(t, v.Direct, "a finding needs a second poll")

	s.findings = nil
	s.raise(rules.SignalLost, "link/l1", alarms.Critical)
	s.unknown(rules.SignalLost, "link/l1")
	s.unknown(rules.SignalLost, "cable/riser")

	s = pairs(t, 1)
	ownAddress(s)
	s.raise(rules.SignalLost, "link/l1", alarms.Critical)
	s.inactive(rules.SignalLost, "link/l1")
}

// TestOpenPair: both fibres of a duplex cord, in a cable that is otherwise
// sound.
func TestOpenPair(t *testing.T) {
	s := pairs(t, 2)
	ownAddress(s)
	s.dim("room-1", "roof-1")
	require.Len(t, s.standing(), 2, "one for each receiver")
	s.found("fibre-open", "link/l1", func(f *alarms.Finding) { f.Direction = "uplink" })
	require.Len(t, s.standing(), 2, "a finding of one fibre stands for one")
	s.findings = nil
	s.found("fibre-open", "link/l1")
	require.Equal(t, []string{"optical-signal-lost link/l1"}, s.standing())
	require.Contains(t, s.active(rules.SignalLost, "link/l1").Text, "First check its plugs at both ends.")
}

func TestRoofWithoutPower(t *testing.T) {
	s := pairs(t, 3)
	for _, room := range []string{"room-1", "room-2", "room-3"} {
		s.dim(room)
	}
	for _, roof := range []string{"roof-1", "roof-2", "roof-3"} {
		s.blank(roof)
	}
	require.Equal(t, []string{"optical-signal-lost cable/riser"}, s.standing())
	s.found("outdoor-power-lost", "site/quay")
	require.Equal(t, []string{"optical-signal-lost site/quay"}, s.standing())
	v := s.active(rules.SignalLost, "site/quay")
	require.Contains(t, v.Text, "North Quay: no light comes from the roof")
	require.Contains(t, v.Explains, key(rules.SignalLost, "cable/riser"))
	require.Contains(t, v.Explains, key(rules.UnitUnreachable, "unit/roof-2"))
}

// TestCableBeforeTheRoofWasLookedAt: what looks like a cut may be a roof
// without power, as long as another roof unit's light was last seen before.
func TestCableBeforeTheRoofWasLookedAt(t *testing.T) {
	s := pairs(t, 3)
	s.fleet.Links[2].Downlink.Cable, s.fleet.Links[2].Uplink.Cable = "duct", "duct"
	s.dim("room-1", "room-2")
	s.blank("roof-1")
	s.blank("roof-2")
	require.True(t, s.active(rules.SignalLost, "cable/riser").Direct)
	s.polled("room-3", -time.Minute)
	require.False(t, s.active(rules.SignalLost, "cable/riser").Direct)
}

func TestQuietCauses(t *testing.T) {
	at := func(r string) func(*alarms.Finding) {
		return func(f *alarms.Finding) { f.Resources, f.Wording, f.Probability = []string{r}, alarms.Possible, 0.9 }
	}
	s := pairs(t, 1)
	s.inactive(rules.RFLevelDeviation, roomOut)
	s.found("slope-loss", "unit/roof-1", at(roomOut), unsure)
	s.inactive(rules.RFLevelDeviation, roomOut)
	s.findings = nil
	s.found("slope-loss", "unit/roof-1", at(roomOut))
	v := s.active(rules.RFLevelDeviation, roomOut)
	require.Equal(t, alarms.Warning, v.Severity)
	require.Contains(t, v.Text, "a cause at a place. First do this.")
	require.Equal(t, []string{"Mind that."}, v.Details.Cautions)
	s.findings = nil
	s.found("reflection", "link/l1", at(roomOut))
	s.inactive(rules.RFLevelDeviation, roomOut)

	s = pairs(t, 1)
	s.found("slope-loss", "unit/roof-1", at(roomOut))
	s.shift("room-1", "rf_output_level", -4)
	v = s.active(rules.RFLevelDeviation, roomOut)
	require.Zero(t, int(v.Severity-alarms.Minor), "beyond the limit it is graded as any level")
	require.Equal(t, []string{"Do this."}, v.Details.Actions, "with what the finding asks for")
}
