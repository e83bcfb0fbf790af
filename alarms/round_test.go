package alarms_test

import (
	"errors"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"

	"lightwell/alarms"
	"lightwell/collector"
)

func TestRoundIsStoredBeforeAnybodySeesIt(t *testing.T) {
	rule := signalLost()
	var r *rig
	var rounds []alarms.Round
	r = newRig(t, alarms.EngineConfig{Commit: func(round alarms.Round) error {
		require.False(t, r.list.Active(lostKey), "not in the list yet")
		require.Empty(t, r.changes, "nor told")
		rounds = append(rounds, round)
		return nil
	}}, rule)
	rule.verdicts(active(nqPower, at(0)), active(roofPort, at(0)))
	r.step(time.Second)
	require.Len(t, rounds, 1, "both alarms at once")
	require.Equal(t, "north-quay", rounds[0].Site)
	require.Equal(t, r.now, rounds[0].At)
	require.Equal(t, r.changes, rounds[0].Changes)
	require.ElementsMatch(t, r.list.Alarms(alarms.Filter{}), rounds[0].Alarms)
	r.step(time.Second)
	require.Len(t, rounds, 1, "nothing new, nothing to store")
}

func TestOperatorsAreStoredToo(t *testing.T) {
	var rounds []alarms.Round
	r := newRig(t, alarms.EngineConfig{Commit: func(round alarms.Round) error { rounds = append(rounds, round); return nil }})
	r.announce("a", 1, alarms.Minor, alarms.Hold{})
	_, err := r.list.Close(r.alarm("a0", "t").ID, alarms.Operation{Operator: "amara", Now: r.now})
	require.NoError(t, err)
	require.Equal(t, alarms.OperatorClosed, rounds[1].Alarms[0].Operator)
	_, err = r.list.Purge(alarms.Filter{}, alarms.Operation{Operator: "amara", Now: r.now})
	require.NoError(t, err)
	require.Equal(t, alarms.Purged, rounds[2].Changes[0].Kind)
	require.Empty(t, rounds[2].Alarms)
}

func TestRefusedRoundsAreOfferedAgain(t *testing.T) {
	rule := signalLost()
	full := errors.New("disk is full")
	var stored []alarms.Round
	core, logs := observer.New(zap.InfoLevel)
	r := newRig(t, alarms.EngineConfig{Log: zap.New(core), Commit: func(round alarms.Round) error {
		if full != nil {
			return full
		}
		stored = append(stored, round)
		return nil
	}}, rule)
	rule.verdicts(active(nqPower, at(0)))
	r.step(time.Second)
	rule.verdicts(clear(nqPower, at(time.Minute)))
	r.step(time.Minute)
	require.Equal(t, []string{"raised!", "cleared!"}, r.took(), "a full disk must not silence alarms")
	require.Equal(t, 3, r.engine.Stats().Uncommitted, "two changes and the evidence of the alarm")
	require.Equal(t, 1, logs.Len(), "said once")
	full = nil
	r.step(time.Minute)
	require.Equal(t, 0, r.engine.Stats().Uncommitted)
	require.Len(t, stored, 1)
	require.Equal(t, r.all, stored[0].Changes)
	require.Equal(t, r.list.Alarms(alarms.Filter{}), stored[0].Alarms, "each alarm once, as it is now")
}

// A person is told that something is done only when it is stored.
func TestOperatorsAreRefusedWhatIsNotStored(t *testing.T) {
	full := errors.New("disk is full")
	var fault error
	var stored []alarms.Round
	r := newRig(t, alarms.EngineConfig{Commit: func(round alarms.Round) error {
		if fault == nil {
			stored = append(stored, round)
		}
		return fault
	}})
	r.announce("a", 1, alarms.Minor, alarms.Hold{})
	id := r.alarm("a0", "t").ID
	r.took()
	fault = full
	act := func() error {
		_, err := r.list.Acknowledge(id, alarms.Operation{Operator: "amara", From: "192.0.2.7", Now: r.now})
		return err
	}
	require.ErrorIs(t, act(), alarms.ErrNotStored)
	require.ErrorIs(t, act(), alarms.ErrNotStored, "and at once, without another try")
	require.Equal(t, alarms.OperatorNone, r.alarm("a0", "t").Operator)
	require.Empty(t, r.took())
	r.announce("b", 1, alarms.Minor, alarms.Hold{})
	require.Equal(t, []string{"raised!"}, r.took(), "alarms go on")
	fault = nil
	r.now = r.now.Add(time.Minute)
	require.NoError(t, act())
	last := stored[len(stored)-1]
	require.Equal(t, []alarms.ChangeKind{alarms.Raised, alarms.Acknowledged}, []alarms.ChangeKind{last.Changes[0].Kind, last.Changes[1].Kind}, "what waited goes first")
	require.Equal(t, "192.0.2.7", last.Changes[1].From)
	require.Greater(t, last.Changes[0].Seq, stored[0].Changes[0].Seq+1, "the number of what was refused is not used again")
	require.Zero(t, r.engine.Stats().Uncommitted)
}

// What the engine remembers is stored in the same round, also when the list
// does not change, so that a restart continues where the delays stood.
func TestEvidenceIsStoredWithTheRound(t *testing.T) {
	rule := signalLost()
	rule.typ.Raise = alarms.Damping{Polls: 3}
	kept := map[alarms.Key]alarms.Evidence{}
	var rounds []alarms.Round
	commit := func(round alarms.Round) error {
		rounds = append(rounds, round)
		for k, ev := range round.Evidence {
			kept[k] = ev
		}
		for _, k := range round.EvidenceGone {
			delete(kept, k)
		}
		return nil
	}
	r := newRig(t, alarms.EngineConfig{Commit: commit}, rule)
	for i := range 2 {
		rule.verdicts(active(nqPower, at(time.Duration(i)*time.Minute)))
		r.step(time.Minute)
	}
	require.Len(t, rounds, 2)
	require.Empty(t, rounds[1].Changes)
	require.Equal(t, "north-quay", rounds[1].Site)
	require.Equal(t, 2, kept[lostKey].Polls)
	require.Equal(t, r.engine.Evidence(), kept)
	r.step(time.Second)
	require.Len(t, rounds, 2, "the same poll again says nothing new")

	later := r.now
	r = newRig(t, alarms.EngineConfig{Commit: commit, Evidence: kept}, rule)
	r.now = later
	rule.verdicts(active(nqPower, at(2*time.Minute)))
	r.step(time.Minute)
	require.Equal(t, []string{"raised!"}, r.took(), "the third poll, over a restart")
	require.Equal(t, r.engine.Evidence(), kept)
	fleet := *smallFleet()
	fleet.Units, fleet.Links, fleet.Cables = nil, nil, nil
	r.engine.SetFleet(collector.NewFleet(fleet))
	require.Empty(t, kept, "gone with its unit")
}

func TestNumbersOfChangesGoOn(t *testing.T) {
	list := alarms.NewList(alarms.ListConfig{FirstSeq: 41})
	list.Restore([]alarms.Alarm{{Key: lostKey, Version: 7}})
	changes := list.Apply(at(0), alarms.Update{Key: lostKey, Active: false}, alarms.Update{Key: cutKey, Active: true, Severity: alarms.Minor})
	require.EqualValues(t, 41, changes[0].Seq)
}

func TestRuleThatPanics(t *testing.T) {
	bad, good := cableCut(), signalLost()
	core, logs := observer.New(zap.InfoLevel)
	r := newRig(t, alarms.EngineConfig{Log: zap.New(core)}, bad, good)
	good.verdicts(active(nqPower, at(0)))
	bad.verdicts(active(riser, at(0)))
	r.step(time.Second)
	bad.say = func(v *alarms.View) []alarms.Verdict { panic("index out of range") }
	r.step(time.Second)
	r.step(time.Second)
	require.True(t, r.list.Active(cutKey), "its alarms stay")
	require.True(t, r.list.Active(lostKey), "the others are judged")
	require.EqualValues(t, 4, r.engine.Stats().RulePanics, "two sites, two times")
	require.Equal(t, 1, logs.Len(), "said once")
	require.Equal(t, alarms.EventRuleFailed, r.engine.Events(1)[0].Kind)
}

func TestFleetThatLosesUnits(t *testing.T) {
	rule := signalLost()
	r := newRig(t, alarms.EngineConfig{}, rule)
	rule.verdicts(active(nqPower, at(0)), active(roofPort, at(0)), active("link/nq", at(0)), active(riser, at(0)), active("site/north-quay", at(0)), active("unit/nq-room/rf_input_level", at(0)))
	r.engine.Observe(poll("nq-room", at(0), reading(collector.OpticalReceivePower, -3)))
	r.announce("daemon", 1, alarms.Minor, alarms.Hold{})
	r.step(time.Second)
	r.took()
	rule.verdicts()
	fleet := *smallFleet()
	fleet.Units = fleet.Units[1:] // the roof unit goes, and its link
	fleet.Links, fleet.Cables = nil, nil
	r.engine.SetFleet(collector.NewFleet(fleet))
	require.Equal(t, []string{"cleared!", "cleared!", "cleared!", "cleared!"}, r.took(), "roof unit, link, cable, and a point that the model lost")
	gone := r.alarm(roofPort, lost)
	require.True(t, gone.Cleared)
	require.Contains(t, gone.Text, "no longer in the fleet")
	require.Equal(t, "north-quay", gone.Site)
	require.True(t, r.list.Active(lostKey), "the room unit is still there")
	u, ok := r.engine.Unit("nq-room")
	require.True(t, ok)
	require.Equal(t, -3.0, u.Points[collector.Point{Quantity: collector.OpticalReceivePower}].Reading.Value, "and so is what it read")
	r.engine.Observe(poll("nq-roof", at(time.Minute))) // a late poll of what is gone
	_, ok = r.engine.Unit("nq-roof")
	require.False(t, ok)
}

func TestSubscribers(t *testing.T) {
	rule := signalLost()
	r := newRig(t, alarms.EngineConfig{}, rule)
	signal, cancel := r.engine.Subscribe()
	version := r.engine.Version()
	for i := range 5 { // nobody takes the signals, and nothing waits
		rule.verdicts(active(nqPower, at(time.Duration(i)*time.Minute)))
		r.step(time.Minute)
	}
	<-signal
	select {
	case <-signal:
		t.Fatal("signals must be merged")
	default:
	}
	require.Greater(t, r.engine.Version(), version)
	_, err := r.list.Acknowledge(alarms.NewID(lostKey), alarms.Operation{Operator: "amara", Now: r.now})
	require.NoError(t, err)
	<-signal
	cancel()
	cancel()
	r.step(time.Minute)
	select {
	case <-signal:
		t.Fatal("the subscription has ended")
	default:
	}
}

// Everything at once, for the race detector.
func TestConcurrentUse(t *testing.T) {
	rule := signalLost()
	rule.say = func(v *alarms.View) []alarms.Verdict {
		var out []alarms.Verdict
		for _, u := range v.Units {
			power, seen, ok := u.Good(collector.Point{Quantity: collector.OpticalReceivePower})
			out = append(out, alarms.Verdict{Resource: "unit/" + u.Unit.ID, Active: ok && power < -20, Text: "x", Seen: seen})
		}
		return out
	}
	list := alarms.NewList(alarms.ListConfig{})
	e := alarms.NewEngine(alarms.EngineConfig{Rules: []alarms.Rule{rule}, List: list})
	e.SetFleet(smallFleet())
	var wg sync.WaitGroup
	for worker := range 4 {
		wg.Go(func() {
			for i := range 100 {
				when := at(time.Duration(i) * time.Second)
				switch worker {
				case 0:
					e.Observe(poll("nq-room", when, reading(collector.OpticalReceivePower, float64(-40*(i%2)))))
				case 1:
					e.EvaluateAll(when)
				case 2:
					e.SetFleet(smallFleet())
					for _, a := range list.Alarms(alarms.Filter{}) {
						list.Shelve(a.ID, alarms.Operation{Operator: "amara", Now: when, Until: when.Add(time.Second)})
					}
				case 3:
					e.EachUnit(func(u *alarms.UnitView) bool { return u.Failures == 0 })
					e.Load(when)
					e.Events(5)
					e.Units()
					list.Summary()
				}
			}
		})
	}
	wg.Wait()
}
