package alarms_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

const lost = "optical-signal-lost"

func damped(raise, clear alarms.Damping) *fakeRule {
	r := signalLost()
	r.typ.Raise, r.typ.Clear = raise, clear
	return r
}

// moment is one evaluation: after seconds, with a verdict.
type moment struct {
	after   int
	verdict *alarms.Verdict // nil: none
}

func TestDamping(t *testing.T) {
	sec := func(n int) time.Time { return at(time.Duration(n) * time.Second) }
	yes := func(seen int) *alarms.Verdict { v := active(nqPower, sec(seen)); return &v }
	no := func(seen int) *alarms.Verdict { v := clear(nqPower, sec(seen)); return &v }
	direct := func(seen int) *alarms.Verdict { v := active(nqPower, sec(seen)); v.Direct = true; return &v }
	graded := func(seen int, s alarms.Severity) *alarms.Verdict { v := yes(seen); v.Severity = s; return v }
	steady := func(seen int, text string, s alarms.Severity) *alarms.Verdict {
		v := yes(seen)
		v.Text, v.Severity, v.Steady = text, s, true
		return v
	}
	worded := func(seen int, text string) *alarms.Verdict { v := yes(seen); v.Text = text; return v }
	three := alarms.Damping{Polls: 3}
	minute := alarms.Damping{For: time.Minute}
	for _, tc := range []struct {
		name         string
		raise, clear alarms.Damping
		moments      []moment
		want         []string
	}{
		{"none: at once", alarms.Damping{}, alarms.Damping{}, []moment{{0, yes(0)}, {10, no(10)}}, []string{"raised!", "cleared!"}},
		{"three polls", three, three, []moment{{0, yes(0)}, {10, yes(10)}, {20, yes(20)}, {30, no(30)}, {40, no(40)}, {50, no(50)}}, []string{"raised!", "cleared!"}},
		{"the same poll counts once", three, three, []moment{{0, yes(0)}, {5, yes(0)}, {10, yes(0)}, {15, yes(15)}}, nil},
		{"without a time no poll is new", three, three, []moment{{0, &alarms.Verdict{Resource: nqPower, Active: true}}, {5, &alarms.Verdict{Resource: nqPower, Active: true}}, {10, &alarms.Verdict{Resource: nqPower, Active: true}}}, nil},
		{"polls in a row", three, three, []moment{{0, yes(0)}, {10, yes(10)}, {20, no(20)}, {30, yes(30)}, {40, yes(40)}}, nil},
		{"unknown in between neither counts nor breaks", three, three, []moment{{0, yes(0)}, {10, yes(10)}, {20, nil}, {30, nil}, {40, yes(40)}}, []string{"raised!"}},
		{"for a minute, noticed without a poll", minute, minute, []moment{{0, yes(0)}, {59, yes(0)}, {60, yes(0)}, {70, no(70)}, {129, no(70)}}, []string{"raised!"}},
		{"both parts", alarms.Damping{Polls: 2, For: time.Minute}, three, []moment{{0, yes(0)}, {90, yes(0)}, {95, yes(95)}}, []string{"raised!"}},
		{"the unit itself says so", three, three, []moment{{0, direct(0)}, {10, no(10)}, {20, no(20)}}, []string{"raised!"}},
		{"worse waits like a raise", three, three, []moment{{0, direct(0)}, {10, graded(10, alarms.Critical)}, {20, graded(20, alarms.Critical)}, {30, graded(30, alarms.Critical)}}, []string{"raised!", "severity-changed!"}},
		{"better waits like a clear", alarms.Damping{}, three, []moment{{0, yes(0)}, {10, graded(10, alarms.Minor)}, {20, graded(20, alarms.Minor)}}, []string{"raised!"}},
		{"a new text must stay", alarms.Damping{}, alarms.Damping{}, []moment{{0, yes(0)}, {10, worded(10, "fibre cut")}, {20, worded(20, "fibre cut")}}, []string{"raised!", "text-changed!"}},
		{"texts that waver", alarms.Damping{}, alarms.Damping{}, []moment{{0, yes(0)}, {10, worded(10, "a")}, {20, worded(20, "b")}, {30, worded(30, "a")}}, []string{"raised!"}},
		{"a measured value is no new text", alarms.Damping{}, alarms.Damping{}, []moment{{0, worded(0, "at -30.2 dBm, 1.5 dB off.")}, {10, worded(10, "at -29.9 dBm, 1.25 dB off.")}, {20, worded(20, "at 3.0 dBm, 0.1 dB off.")}}, []string{"raised!"}},
		{"a steady text changes with the severity only", alarms.Damping{}, alarms.Damping{}, []moment{{0, steady(0, "9 months left", alarms.Minor)}, {10, steady(10, "8 months left", alarms.Minor)}, {20, steady(20, "8 months left", alarms.Minor)}, {30, steady(30, "3 weeks left", alarms.Major)}}, []string{"raised!", "severity-changed!"}},
		{"a count is", alarms.Damping{}, alarms.Damping{}, []moment{{0, worded(0, "3 links")}, {10, worded(10, "4 links")}, {20, worded(20, "4 links")}}, []string{"raised!", "text-changed!"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			rule := damped(tc.raise, tc.clear)
			r := newRig(t, alarms.EngineConfig{}, rule)
			for _, m := range tc.moments {
				rule.verdicts()
				if m.verdict != nil {
					rule.verdicts(*m.verdict)
				}
				r.now = sec(m.after)
				r.engine.EvaluateAll(r.now)
			}
			require.Equal(t, tc.want, r.took())
		})
	}
}

// The time of a status change is that of the resource, not of the list.
func TestTimeOfADampedRaise(t *testing.T) {
	rule := damped(alarms.Damping{Polls: 2}, alarms.Damping{})
	r := newRig(t, alarms.EngineConfig{}, rule)
	rule.verdicts(active(nqPower, at(0)))
	r.step(time.Second)
	rule.verdicts(active(nqPower, at(time.Minute)))
	r.step(time.Minute)
	require.Equal(t, at(0), r.alarm(nqPower, lost).LastRaised)
}

// Three raises in a minute are chattering by common alarm practice; the
// longer windows and the delays are ours.
func TestChatteringDelaysTheClear(t *testing.T) {
	for _, tc := range []struct {
		every  time.Duration // from raise to raise
		raises int
		hold   time.Duration
	}{
		{20 * time.Second, 3, 10 * time.Minute},
		{4 * time.Minute, 4, 30 * time.Minute},
		{25 * time.Minute, 5, 2 * time.Hour},
		{4 * time.Hour, 6, 4 * time.Hour},
	} {
		t.Run(tc.every.String(), func(t *testing.T) {
			rule := signalLost()
			r := newRig(t, alarms.EngineConfig{}, rule)
			say := func(v alarms.Verdict, d time.Duration) {
				r.now = r.now.Add(d)
				v.Seen = r.now
				rule.verdicts(v)
				r.engine.EvaluateAll(r.now)
			}
			for i := range tc.raises {
				say(active(nqPower, at(0)), tc.every/2)
				require.Len(t, r.changes, 2*i+1, "each raise so far was cleared at once")
				say(clear(nqPower, at(0)), tc.every/2)
			}
			require.NotContains(t, r.eventKinds()[1:], alarms.EventChattering, "told once")
			require.Equal(t, alarms.EventChattering, r.engine.Events(1)[0].Kind)
			require.True(t, r.list.Active(lostKey), "the last clear is held up")
			say(clear(nqPower, at(0)), tc.hold-time.Second)
			require.True(t, r.list.Active(lostKey))
			say(active(nqPower, at(0)), time.Second/2)
			say(clear(nqPower, at(0)), time.Second/2)
			require.True(t, r.list.Active(lostKey), "a flicker starts the wait anew")
			r.took()
			say(clear(nqPower, at(0)), tc.hold)
			require.Equal(t, []string{"cleared!"}, r.took())
			for range 2 {
				say(active(nqPower, at(0)), 48*time.Hour)
				say(clear(nqPower, at(0)), time.Second)
			}
			require.Equal(t, []string{"raised!", "cleared!", "raised!", "cleared!"}, r.took(), "old raises count no more")
		})
	}
}

func TestEvidenceSurvivesARestart(t *testing.T) {
	rule := damped(alarms.Damping{Polls: 3}, alarms.Damping{Polls: 2})
	r := newRig(t, alarms.EngineConfig{}, rule)
	for i := range 2 {
		rule.verdicts(active(nqPower, at(time.Duration(i)*time.Minute)))
		r.step(time.Minute)
	}
	require.Empty(t, r.took())
	evidence := r.engine.Evidence()
	require.Equal(t, 2, evidence[lostKey].Polls)

	r = newRig(t, alarms.EngineConfig{Evidence: evidence}, rule)
	rule.verdicts(active(nqPower, at(2*time.Minute)))
	r.step(3 * time.Minute)
	require.Equal(t, []string{"raised!"}, r.took())
	require.Equal(t, 0, r.engine.Evidence()[lostKey].Polls)
	require.Equal(t, 2, evidence[lostKey].Polls, "what was handed out stays as it was")
}

// Row 5 of RFC 8632's alarm profile example: levels warning and minor, set to
// minor and major; the others follow from "the most special line counts".
func TestSeverityAssignment(t *testing.T) {
	type line = struct{ typ, site, unit, severity string }
	for _, tc := range []struct {
		name  string
		typ   alarms.Severity
		given alarms.Severity // 0: as assigned
		lines []line
		want  alarms.Severity
	}{
		{"default", alarms.Major, 0, nil, alarms.Major},
		{"graded by the rule", alarms.Major, alarms.Minor, nil, alarms.Minor},
		{"everywhere", alarms.Major, 0, []line{{lost, "", "", "warning"}}, alarms.Warning},
		{"other type", alarms.Major, 0, []line{{"supply-failed", "", "", "warning"}}, alarms.Major},
		{"site over everywhere", alarms.Major, 0, []line{{lost, "north-quay", "", "minor"}, {lost, "", "", "warning"}}, alarms.Minor},
		{"other site", alarms.Major, 0, []line{{lost, "south-quay", "", "minor"}}, alarms.Major},
		{"unit over site", alarms.Major, 0, []line{{lost, "", "nq-room", "critical"}, {lost, "north-quay", "", "minor"}}, alarms.Critical},
		{"other unit", alarms.Major, 0, []line{{lost, "", "nq-roof", "critical"}}, alarms.Major},
		{"RFC 8632: first threshold", alarms.Warning, alarms.Warning, []line{{lost, "", "", "minor"}}, alarms.Minor},
		{"RFC 8632: second threshold", alarms.Warning, alarms.Minor, []line{{lost, "", "", "minor"}}, alarms.Major},
		{"never above critical", alarms.Warning, alarms.Critical, []line{{lost, "", "", "critical"}}, alarms.Critical},
		{"never below warning", alarms.Critical, alarms.Warning, []line{{lost, "", "", "warning"}}, alarms.Warning},
	} {
		t.Run(tc.name, func(t *testing.T) {
			rule := signalLost()
			rule.typ.Severity = tc.typ
			r := newRig(t, alarms.EngineConfig{}, rule)
			var lines []severityRule
			for _, l := range tc.lines {
				lines = append(lines, severityRule{Type: l.typ, Site: l.site, Unit: l.unit, Severity: l.severity})
			}
			r.engine.SetFleet(smallFleet(lines...))
			var seen []alarms.Severity
			rule.say = func(v *alarms.View) []alarms.Verdict {
				if v.Site.ID != "north-quay" {
					return nil
				}
				seen = append(seen, v.Severity(lostKey))
				verdict := active(nqPower, at(0))
				verdict.Severity = tc.given
				return []alarms.Verdict{verdict}
			}
			r.step(time.Second)
			r.step(time.Second)
			require.Equal(t, tc.want, r.alarm(nqPower, lost).Severity)
			given := tc.given
			if given == 0 {
				given = tc.typ
			}
			require.Equal(t, []alarms.Severity{0, given}, seen, "the rule sees what it gave, not what was assigned")
		})
	}
}

func TestWaveringValueInAText(t *testing.T) {
	rule := signalLost()
	r := newRig(t, alarms.EngineConfig{}, rule)
	for i := range 50 {
		v := active(nqPower, at(time.Duration(i)*time.Minute))
		v.Text = fmt.Sprintf("receive power is %d.%d dBm: look at the fibre", -20-i%3, i%10)
		rule.verdicts(v)
		r.step(time.Minute)
	}
	require.Equal(t, []string{"raised!"}, r.took(), "a wavering value must not fill the history")
}
