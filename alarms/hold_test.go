package alarms_test

import (
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/collector"
)

func cableCut() *fakeRule {
	return &fakeRule{typ: alarms.Type{ID: "cable-cut", Severity: alarms.Critical}}
}

const (
	riser    = "cable/nq-riser"
	roofPort = "unit/nq-roof/optical_receive_power"
)

var cutKey = alarms.Key{Resource: riser, Type: "cable-cut"}

// cause is a verdict of the cut that explains what both ends receive.
func cause(active bool, seen time.Time) alarms.Verdict {
	return alarms.Verdict{Resource: riser, Active: active, Text: "cable is cut", Seen: seen,
		Explains: []alarms.Key{lostKey, {Resource: roofPort, Type: lost}}}
}

func TestConsequencesStaySilent(t *testing.T) {
	cut, sig := cableCut(), signalLost()
	r := newRig(t, alarms.EngineConfig{}, sig, cut)
	sig.verdicts(active(nqPower, at(0)), active(roofPort, at(0)))
	cut.verdicts(cause(true, at(0)))
	r.step(time.Second)
	require.ElementsMatch(t, []string{"raised", "raised", "raised!"}, r.took(), "one cause, one announcement")
	s, c := r.alarm(nqPower, lost), r.alarm(riser, "cable-cut")
	require.Equal(t, alarms.Hold{Reason: alarms.HoldSymptom, By: riser}, s.Hold)
	require.Equal(t, []alarms.Key{cutKey}, s.Related)
	require.Equal(t, []alarms.Key{{Resource: roofPort, Type: lost}, lostKey}, c.Related)
	require.Equal(t, alarms.EventHoldBegan, r.engine.Events(1)[0].Kind)

	cut.verdicts() // cannot be judged for a while
	r.step(time.Minute)
	require.Empty(t, r.took(), "the cause stands, so its consequences stay held")

	cut.verdicts(cause(false, at(3*time.Minute)))
	r.step(2 * time.Minute)
	require.Equal(t, []string{"cleared!"}, r.took(), "the consequences have not been polled since")
	sig.verdicts(clear(nqPower, at(4*time.Minute)), active(roofPort, at(4*time.Minute)))
	r.step(time.Minute)
	require.ElementsMatch(t, []string{"cleared", "released!"}, r.took(), "what still stands is announced, what is gone is not")
	require.Equal(t, alarms.EventHoldEnded, r.engine.Events(1)[0].Kind)
}

func TestCauseThatIsOnlySuspectedHoldsToo(t *testing.T) {
	cut, sig := cableCut(), signalLost()
	cut.typ.Raise = alarms.Damping{Polls: 2}
	r := newRig(t, alarms.EngineConfig{}, sig, cut)
	sig.verdicts(active(nqPower, at(0)))
	cut.verdicts(cause(true, at(0)))
	r.step(time.Second)
	require.Equal(t, []string{"raised"}, r.took())
	cut.verdicts(cause(false, at(time.Minute)))
	sig.verdicts(active(nqPower, at(time.Minute)))
	r.step(time.Minute)
	require.Equal(t, []string{"released!"}, r.took(), "the suspicion was wrong")
}

func TestAnnouncedBeforeItsCauseWasKnown(t *testing.T) {
	cut, sig := cableCut(), signalLost()
	r := newRig(t, alarms.EngineConfig{}, sig, cut)
	sig.verdicts(active(nqPower, at(0)))
	r.step(time.Second)
	cut.verdicts(cause(true, at(time.Minute)))
	r.step(time.Minute)
	require.Equal(t, []string{"raised!", "held", "raised!"}, r.took())
	sig.verdicts(clear(nqPower, at(2*time.Minute)))
	r.step(time.Minute)
	require.Equal(t, []string{"cleared!"}, r.took())
}

func TestSymptomsThatNobodyPollsAreReleasedInTheEnd(t *testing.T) {
	cut, sig := cableCut(), signalLost()
	r := newRig(t, alarms.EngineConfig{}, sig, cut)
	sig.verdicts(active(nqPower, at(0)))
	cut.verdicts(cause(true, at(0)))
	r.step(time.Second)
	cut.verdicts(cause(false, at(time.Minute)))
	sig.verdicts()
	r.step(time.Minute)
	r.took()
	r.step(8 * time.Minute)
	require.Empty(t, r.took())
	r.step(time.Minute)
	require.Equal(t, []string{"released!"}, r.took(), "ten minutes after it was explained last")
}

func TestCircleOfCauses(t *testing.T) {
	a, b := cableCut(), signalLost()
	r := newRig(t, alarms.EngineConfig{}, a, b)
	a.verdicts(cause(true, at(0)))
	circular := active(nqPower, at(0))
	circular.Explains = []alarms.Key{cutKey, lostKey}
	b.verdicts(circular)
	r.step(time.Second)
	require.ElementsMatch(t, []string{"raised!", "raised"}, r.took(), "somebody must hear of it")
}

func TestHeldSymptomAfterARestart(t *testing.T) {
	cut, sig := cableCut(), signalLost()
	r := newRig(t, alarms.EngineConfig{}, sig, cut)
	sig.verdicts(active(nqPower, at(0)))
	cut.verdicts(cause(true, at(0)))
	r.step(time.Second)
	saved := r.list.Alarms(alarms.Filter{})

	sig.verdicts()
	cut.verdicts()
	r = newRig(t, alarms.EngineConfig{}, sig, cut)
	r.list.Restore(saved)
	r.step(time.Minute)
	sig.verdicts(active(nqPower, at(2*time.Minute)))
	r.step(time.Minute)
	require.Empty(t, r.took(), "its cause still stands, though it has not been judged yet")
	cut.verdicts(cause(true, at(3*time.Minute)))
	r.step(time.Minute)
	require.Empty(t, r.took())
}

func TestPlannedWork(t *testing.T) {
	for _, tc := range []struct {
		name, work string
		resource   string
		impacted   []string
		held       bool
	}{
		{"the resource itself", "unit/nq-room", "unit/nq-room", nil, true},
		{"unit of a point", "unit/nq-room", nqPower, nil, true},
		{"site of a unit", "site/north-quay", "unit/nq-room", nil, true},
		{"unit that it is read via", "unit/nq-room", "unit/nq-roof", nil, true},
		{"site of a link", "site/north-quay", "link/nq", nil, true},
		{"cable of a link", riser, "link/nq", nil, true},
		{"end of a link", "unit/nq-roof", "link/nq", nil, true},
		{"site of a cable", "site/north-quay", riser, nil, true},
		{"cable of what a unit receives", riser, nqPower, nil, true},
		{"far end of what a unit receives", "unit/nq-roof", nqPower, nil, true},
		{"antenna work and the level inside", "unit/nq-roof", "unit/nq-room/rf_output_level", nil, true},
		{"link that is impacted", "link/nq", "unit/nq-room/supply_state/a", []string{"link/nq"}, true},
		{"cable, but a supply", riser, "unit/nq-room/supply_state/a", []string{"link/nq"}, false},
		{"other end, but a temperature", "unit/nq-roof", "unit/nq-room/temperature", nil, false},
		{"other site", "site/south-quay", nqPower, nil, false},
		{"unknown resource", "site/north-quay", "tower/x", nil, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			rule := signalLost()
			r := newRig(t, alarms.EngineConfig{Calendar: work{"works", tc.work, at(0), at(time.Hour)}}, rule)
			v := active(tc.resource, at(0))
			v.Details.Impacted = tc.impacted
			rule.say = func(view *alarms.View) []alarms.Verdict {
				if view.Site.ID != "north-quay" {
					return nil
				}
				return []alarms.Verdict{v}
			}
			r.step(time.Second)
			if !tc.held {
				require.Equal(t, []string{"raised!"}, r.took())
				return
			}
			require.Equal(t, []string{"raised"}, r.took(), "in the list, not announced")
			require.Equal(t, alarms.Hold{Reason: alarms.HoldPlannedWork, By: "works"}, r.alarm(tc.resource, lost).Hold)
			r.step(time.Hour)
			require.Equal(t, []string{"released!"}, r.took(), "not lost")
		})
	}
}

func TestWorkEndsWhileTheAlarmIsAboutToClear(t *testing.T) {
	rule := signalLost()
	rule.typ.Clear = alarms.Damping{Polls: 2}
	r := newRig(t, alarms.EngineConfig{Calendar: work{"works", riser, at(0), at(time.Hour)}}, rule)
	rule.verdicts(active(nqPower, at(0)))
	r.step(time.Second)
	rule.verdicts(clear(nqPower, at(59*time.Minute)))
	r.step(time.Hour)
	require.Equal(t, []string{"raised"}, r.took())
	rule.verdicts(clear(nqPower, at(62*time.Minute)))
	r.step(3 * time.Minute)
	require.Equal(t, []string{"cleared"}, r.took(), "nobody was told, nobody is told")
}

// The real calendar, the real clock of Run: a window that opens each day at
// noon and lasts an hour.
func TestRunReleasesWhatPlannedWorkHeld(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		fleet := *smallFleet()
		fleet.PlannedWork = []collector.PlannedWork{{ID: "daily", Resources: []string{riser}, Start: "0 12 * * *", Duration: time.Hour, Location: time.UTC}}
		f := collector.NewFleet(fleet)
		calendar := &collector.Calendar{}
		require.NoError(t, calendar.SetFleet(f))
		rule := signalLost()
		rule.typ.Raise = alarms.Damping{For: 30 * time.Second}
		heard := make(chan alarms.Change, 10)
		list := alarms.NewList(alarms.ListConfig{Sink: func(cs []alarms.Change) {
			for _, c := range cs {
				heard <- c
			}
		}})
		engine := alarms.NewEngine(alarms.EngineConfig{Rules: []alarms.Rule{rule}, List: list, Calendar: calendar})
		engine.SetFleet(f)
		done := make(chan error)
		ctx := t.Context()
		go func() { done <- engine.Run(ctx) }()
		noon := time.Date(2000, 1, 1, 12, 10, 0, 0, time.UTC) // bubbles begin at midnight of that day
		<-time.After(time.Until(noon))
		rule.verdicts(active(nqPower, noon))
		engine.Observe(collector.Poll{Unit: "nq-room", Started: noon, Err: errors.New("silent")})
		first := <-heard
		require.WithinRange(t, time.Now(), noon.Add(30*time.Second), noon.Add(30*time.Second+alarms.DefaultTick), "the tick sees the delay run out")
		require.False(t, first.Notify)
		second := <-heard
		require.True(t, second.Notify)
		require.WithinRange(t, time.Now(), noon.Add(50*time.Minute), noon.Add(50*time.Minute+alarms.DefaultTick))
		go func() { <-done }()
	})
}
