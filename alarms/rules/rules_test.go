package rules_test

import (
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

// registered are names and numbers of the IANA-ITU-ALARM-TC-MIB, revision of
// 2014-05-22, spelled as there, with the event type of X.733 they are used for.
var registered = map[string]struct {
	number int
	event  alarms.EventType
}{
	"degradedSignal":                    {3, alarms.CommunicationsAlarm},
	"lossOfSignal":                      {8, alarms.CommunicationsAlarm},
	"transmitterFailure":                {67, alarms.EquipmentAlarm},
	"antennaFailure":                    {71, alarms.EquipmentAlarm},
	"lossOfRedundancy":                  {77, alarms.EquipmentAlarm},
	"powerSupplyFailure":                {78, alarms.EquipmentAlarm},
	"commercialPowerFailure":            {106, alarms.EnvironmentalAlarm},
	"communicationsSubsystemFailure":    {505, alarms.CommunicationsAlarm},
	"configurationOrCustomizationError": {506, alarms.ProcessingErrorAlarm},
	"equipmentMalfunction":              {514, alarms.EquipmentAlarm},
	"heatingVentCoolingSystemProblem":   {519, alarms.EnvironmentalAlarm},
	"performanceDegraded":               {532, alarms.QualityOfServiceAlarm},
	"thresholdCrossed":                  {549, alarms.QualityOfServiceAlarm},
	"temperatureUnacceptable":           {548, alarms.EnvironmentalAlarm},
	"authenticationFailure":             {600, alarms.SecurityAlarm},
}

func TestInventory(t *testing.T) {
	seen := map[string]bool{}
	for _, r := range rules.All() {
		typ := r.Type()
		t.Run(typ.ID, func(t *testing.T) {
			require.Regexp(t, `^[a-z]+(-[a-z]+)*$`, typ.ID)
			require.False(t, seen[typ.ID], "twice")
			seen[typ.ID] = true
			require.NotEmpty(t, typ.Title)
			require.Greater(t, len(typ.Why), 60, "why must somebody act?")
			require.NotEmpty(t, typ.ClearsBy)
			require.Contains(t, []alarms.Severity{alarms.Warning, alarms.Minor, alarms.Major, alarms.Critical}, typ.Severity)
			want, ok := registered[typ.Cause.Name]
			require.True(t, ok, typ.Cause.Name)
			require.Equal(t, want.number, typ.Cause.Number)
			require.Equal(t, want.event, typ.EventType)
			require.GreaterOrEqual(t, typ.Raise.Polls, 2, "never from a single poll")
		})
	}
	require.Len(t, seen, len(rules.All()))
}

func TestAHealthySiteIsQuietAndKnown(t *testing.T) {
	for name, s := range map[string]*scene{"pairs": pairs(t, 4), "star": star(t, 4)} {
		require.Empty(t, s.standing(), name)
		for _, r := range rules.All() {
			if r.Type().ID != rules.BaselineMissing {
				require.NotEmpty(t, r.Judge(s.view()), "%s: %s", name, r.Type().ID)
			}
		}
	}
}

func TestNothingKnownNothingSaid(t *testing.T) {
	s := pairs(t, 2)
	for _, u := range s.units {
		u.Polled, u.LastSuccess, u.Baselined, u.Points = time.Time{}, time.Time{}, false, nil
	}
	for _, r := range rules.All() {
		require.Empty(t, r.Judge(s.view()), r.Type().ID)
	}
}

// TestSilenceNeitherRaisesNorClears: of a unit that does not answer only that
// is known, whatever it read before.
func TestSilenceNeitherRaisesNorClears(t *testing.T) {
	for _, healthyBefore := range []bool{true, false} {
		s := pairs(t, 1)
		if !healthyBefore {
			s.dim("room-1")
			s.say("room-1", "supply_state/a", collector.StateFailed)
		}
		s.fail(collector.ErrNoAnswer, "room-1", "roof-1")
		for _, r := range rules.All() {
			for _, v := range r.Judge(s.view()) {
				if id := r.Type().ID; id != rules.UnitUnreachable && id != rules.BaselineMissing {
					require.Fail(t, "a verdict without a reading", "%s %s", id, v.Resource)
				}
			}
		}
	}
}

// TestSamePictureSameVerdicts: a rule is a function of the view, and leaves it
// as it was.
func TestSamePictureSameVerdicts(t *testing.T) {
	for _, s := range troubled(t) {
		v := s.view()
		before := s.view()
		for _, r := range rules.All() {
			require.Equal(t, r.Judge(v), r.Judge(v))
		}
		require.Equal(t, before.Units, v.Units)
	}
}

// troubled returns scenes with everything wrong that a rule can see.
func troubled(t testing.TB) []*scene {
	cut := pairs(t, 3)
	cut.dim("room-1", "room-2", "room-3")
	weak := pairs(t, 2)
	weak.shift("room-1", "optical_receive_power", -4)
	weak.shift("roof-2", "optical_transmit_power", -2)
	weak.shift("roof-1", "rf_input_level", -8)
	weak.read("room-2", "optical_receive_power", 3.5)
	odd := star(t, 2)
	odd.say("roof", "laser_state", collector.StateFailed)
	odd.say("roof", "antenna_feed_state", collector.StateShort)
	odd.read("roof", "temperature", 80)
	odd.say("room-1", "supply_state/a", collector.StateFailed)
	odd.say("room-2", "supply_state/a", collector.StateFailed)
	odd.say("room-2", "supply_state/b", collector.StateAbsent)
	odd.quality("room-1", "laser_bias", collector.Broken)
	odd.units["room-2"].Baselined = false
	away := pairs(t, 2)
	away.fail(collector.ErrNoAnswer, "room-1", "room-2", "roof-1", "roof-2")
	shut := pairs(t, 1)
	shut.fail(collector.ErrRefused, "room-1", "roof-1")
	cold := pairs(t, 1)
	cold.units["roof-1"].StartedAt = now.Add(-time.Hour)
	cold.read("roof-1", "temperature", -45)
	tight := pairs(t, 1)
	tight.base("room-1", "agc_attenuation", 4, 0.1)
	tight.shift("room-1", "optical_receive_power", -0.9)
	return []*scene{cut, weak, odd, away, shut, cold, tight}
}

var resourceForm = regexp.MustCompile(`^(unit/[a-z0-9-]+(/[a-z_]+(/[a-z0-9]+)?)?|cable/[a-z0-9-]+|site/[a-z0-9-]+|link/[a-z0-9-]+)$`)

// TestTextsSayWhatToDo: every active verdict can be acted on, and one that
// sends a person to a dangerous place says so.
func TestTextsSayWhatToDo(t *testing.T) {
	kinds := map[string]int{}
	for _, s := range troubled(t) {
		for _, r := range rules.All() {
			for _, v := range r.Judge(s.view()) {
				if v.Active {
					kinds[r.Type().ID]++
					checkActive(t, v)
				}
			}
		}
	}
	require.Len(t, kinds, 15, "every type that a reading alone shows is in the troubled scenes")
}

// places are words in an action that send a person to a place of the cautions.
var places = map[string]string{
	"plug": "Never look into a fibre", "keys aligned": "Never look into a fibre", "OTDR": "Never look into a fibre", "splicer": "Never look into a fibre", "transmit port": "Never look into a fibre",
	"antenna": "transmitting antenna", "coax": "transmitting antenna", "breaker": "isolate, lock", "feed of": "isolate, lock", "supply module": "isolate, lock",
}

func checkActive(t *testing.T, v alarms.Verdict) {
	require.Regexp(t, resourceForm, v.Resource)
	require.False(t, v.Seen.IsZero(), v.Resource)
	require.Contains(t, v.Text, "First ")
	require.True(t, strings.HasSuffix(v.Text, "."), v.Text)
	require.NotEmpty(t, v.Details.Actions, v.Text)
	if len(v.Details.Cautions) > 0 {
		require.Contains(t, v.Details.Cautions[len(v.Details.Cautions)-1], "Local codes and licensed persons decide")
	}
	said := strings.Join(v.Details.Cautions, " ")
	for word, caution := range places {
		if strings.Contains(strings.Join(v.Details.Actions, " "), word) {
			require.Contains(t, said, caution, "%s: %q in the actions", v.Text, word)
		}
	}
	if v.Details.BackedUp {
		require.NotEmpty(t, v.Details.BackupObject)
	}
}
