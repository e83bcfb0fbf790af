package alarms_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/collector"
)

// Names and numbers of RFC 8632, typedefs severity and severity-with-clear.
func TestSeverityNames(t *testing.T) {
	for n, name := range map[int]string{1: "cleared", 2: "indeterminate", 3: "warning", 4: "minor", 5: "major", 6: "critical"} {
		s, err := alarms.ParseSeverity(name)
		require.NoError(t, err)
		require.Equal(t, n, int(s))
		require.Equal(t, name, s.String())
		text, err := json.Marshal(s)
		require.NoError(t, err)
		require.JSONEq(t, `"`+name+`"`, string(text))
		var back alarms.Severity
		require.NoError(t, json.Unmarshal(text, &back))
		require.Equal(t, s, back)
	}
	for _, bad := range []string{"", "Major", "5", "clear"} {
		_, err := alarms.ParseSeverity(bad)
		require.Error(t, err, bad)
	}
	var s alarms.Severity
	require.Error(t, json.Unmarshal([]byte(`"loud"`), &s))
	require.NoError(t, json.Unmarshal([]byte(`""`), &s))
	require.Zero(t, s)
	require.Equal(t, "severity(9)", alarms.Severity(9).String())
}

func TestAlarmAsJSON(t *testing.T) {
	f := newFeed(t)
	u := held(up(alarms.Major, "no light"))
	value := -40.0
	u.Details = alarms.Details{Observed: &value, Unit: "dBm", Impacted: []string{"link/nq"}, Actions: []string{"look"}}
	u.Related = []alarms.Key{cutKey}
	f.apply(u, up(alarms.Major, "no light"))
	_, err := f.list.Shelve(f.id, f.until(time.Hour))
	require.NoError(t, err)
	text, err := json.Marshal(f.get())
	require.NoError(t, err)
	require.Contains(t, string(text), `"severity":"major"`)
	var back alarms.Alarm
	require.NoError(t, json.Unmarshal(text, &back))
	require.Equal(t, f.get(), back)
}

func TestIDs(t *testing.T) {
	ids := map[string]bool{}
	for _, k := range []alarms.Key{
		{Resource: "a", Type: "b", Qualifier: "c"}, {Resource: "ab", Qualifier: "c"}, {Resource: "a", Type: "bc"}, {Type: "ab", Qualifier: "c"}, {},
	} {
		id := alarms.NewID(k)
		require.Regexp(t, "^[a-z2-7]{16}$", id)
		require.False(t, ids[id], "parts of a key must not run into each other")
		ids[id] = true
	}
}

func TestTwoVerdictsForOneAlarm(t *testing.T) {
	for name, vs := range map[string][]alarms.Verdict{
		"active last":  {clear(nqPower, at(0)), active(nqPower, at(0))},
		"active first": {active(nqPower, at(0)), clear(nqPower, at(0))},
	} {
		rule := signalLost()
		r := newRig(t, alarms.EngineConfig{}, rule)
		rule.verdicts(vs...)
		r.step(time.Second)
		r.step(time.Second)
		require.Equal(t, []string{"raised!"}, r.took(), name)
	}
}

// Without the evidence of before, the severity that the rule gave is found
// back from the list and the assignment.
func TestGivenSeverityAfterARestart(t *testing.T) {
	rule := signalLost()
	for _, lines := range [][]collector.SeverityRule{nil, {{Type: lost, Severity: "minor"}}} {
		r := newRig(t, alarms.EngineConfig{}, rule)
		r.engine.SetFleet(smallFleet(lines...))
		severity := alarms.Major - alarms.Severity(len(lines))
		r.list.Restore([]alarms.Alarm{{Key: lostKey, Site: "north-quay", Severity: severity, Changes: []alarms.StatusChange{{Time: start, Severity: severity}}}})
		var given alarms.Severity
		rule.say = func(v *alarms.View) []alarms.Verdict {
			if v.Site.ID == "north-quay" {
				given = v.Severity(lostKey)
			}
			return nil
		}
		r.step(time.Second)
		require.Equal(t, alarms.Major, given)
	}
}

func TestUnitThatMovesToAnotherSite(t *testing.T) {
	rule := signalLost()
	r := newRig(t, alarms.EngineConfig{}, rule)
	rule.say = func(v *alarms.View) (out []alarms.Verdict) {
		if v.Unit("nq-room") != nil {
			out = append(out, active(nqPower, at(0)))
		}
		return out
	}
	r.step(time.Second)
	fleet := *smallFleet()
	fleet.Units[1].Site = "south-quay"
	r.engine.SetFleet(collector.NewFleet(fleet))
	r.step(time.Second)
	require.Equal(t, []string{"raised!"}, r.took())
	require.Equal(t, "south-quay", r.alarm(nqPower, lost).Site)
	require.Len(t, r.list.Alarms(alarms.Filter{Site: "south-quay"}), 1)
	r.step(time.Second)
	require.Empty(t, r.took(), "the old site has no say in it any more")
}

func TestLoadForgetsAfterADay(t *testing.T) {
	r := newRig(t, alarms.EngineConfig{})
	for range 60 {
		r.announce("a", 1, alarms.Minor, alarms.Hold{})
		r.now = r.now.Add(30 * time.Minute)
		r.clearAll("a", 1)
		r.now = r.now.Add(30 * time.Minute)
	}
	load := r.engine.Load(r.now)
	require.Equal(t, 24, load.Announced)
	require.Len(t, load.Intervals, 145)
	require.InDelta(t, 24.0/144, load.Average, 1e-9)
}
