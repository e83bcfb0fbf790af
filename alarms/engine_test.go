package alarms_test

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/collector"
)

const nqPower = "unit/nq-room/optical_receive_power"

func poll(unit string, started time.Time, readings ...collector.Reading) collector.Poll {
	for i := range readings {
		readings[i].Unit, readings[i].Taken = unit, started
	}
	return collector.Poll{Unit: unit, Started: started, Readings: readings}
}

func reading(q collector.Quantity, v float64) collector.Reading {
	return collector.Reading{Point: collector.Point{Quantity: q}, Value: v}
}

func TestPollBecomesAlarmSoonAfterIt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		rule := signalLost()
		rule.say = func(v *alarms.View) []alarms.Verdict {
			power, seen, ok := v.Unit("nq-room").Good(collector.Point{Quantity: collector.OpticalReceivePower})
			if !ok {
				return nil
			}
			return []alarms.Verdict{{Resource: nqPower, Active: power < -20, Text: "no light", Seen: seen}}
		}
		raised := make(chan time.Time, 1)
		list := alarms.NewList(alarms.ListConfig{Sink: func(cs []alarms.Change) { raised <- time.Now() }})
		engine := alarms.NewEngine(alarms.EngineConfig{Rules: []alarms.Rule{rule}, List: list})
		engine.SetFleet(smallFleet())
		ctx, cancel := context.WithCancel(t.Context())
		done := make(chan error)
		go func() { done <- engine.Run(ctx) }()
		<-time.After(time.Second)
		polled := time.Now()
		engine.Observe(poll("nq-room", polled, reading(collector.OpticalReceivePower, -40)))
		require.LessOrEqual(t, (<-raised).Sub(polled), 200*time.Millisecond)
		cancel()
		require.NoError(t, <-done)
		require.True(t, list.Active(alarms.Key{Resource: nqPower, Type: rule.typ.ID}))
	})
}

func TestViewKeepsWhatPollsBrought(t *testing.T) {
	power, supply := collector.Point{Quantity: collector.OpticalReceivePower}, collector.Point{Quantity: collector.SupplyState, Port: "a"}
	source := levels{power: baseline.Level{Value: -3, TempRefC: 20, TempCoeff: -0.02}}
	r := newRig(t, alarms.EngineConfig{Baselines: source})
	r.engine.Observe(poll("nq-room", at(0), reading(collector.OpticalReceivePower, -4.2), reading(collector.Temperature, 30),
		reading(collector.Uptime, 600), collector.Reading{Point: supply, Quality: collector.Unavailable}))
	r.step(0)
	u, ok := r.engine.Unit("nq-room")
	require.True(t, ok)
	require.True(t, u.Up())
	require.True(t, u.Baselined)
	require.Equal(t, at(-10*time.Minute), u.StartedAt)
	require.InDelta(t, -1.0, u.Points[power].Deviation, 1e-9, "-4.2 - (-3) - (-0.02)(30-20)")
	require.True(t, u.Points[power].Compared)
	require.False(t, u.Points[supply].Compared)

	gone := errors.New("timed out")
	r.engine.Observe(collector.Poll{Unit: "nq-room", Started: at(time.Minute), Err: gone})
	r.engine.Observe(collector.Poll{Unit: "nq-room", Started: at(2 * time.Minute), Err: gone})
	r.engine.Observe(poll("nq-room", at(30*time.Second))) // late, dropped
	u, _ = r.engine.Unit("nq-room")
	require.False(t, u.Up())
	require.Equal(t, 2, u.Failures)
	require.Equal(t, at(time.Minute), u.FirstFailure)
	require.Equal(t, at(0), u.LastSuccess)
	require.Equal(t, -4.2, u.Points[power].Reading.Value, "the last reading stays")
	require.False(t, u.Points[power].Compared, "but is not compared any more")

	u.Points[power] = alarms.PointView{}
	was := r.engine.Units()
	again, _ := r.engine.Unit("nq-room")
	require.Equal(t, -4.2, again.Points[power].Reading.Value, "copies are deep")
	require.Equal(t, -3.0, again.Points[power].Baseline.Value)
	require.Same(t, was[1].Points[power].Baseline, r.engine.Units()[1].Points[power].Baseline, "what has not changed is not copied again")
	r.engine.Observe(poll("nq-room", at(time.Hour), reading(collector.OpticalReceivePower, -5.1)))
	require.Equal(t, -4.2, was[1].Points[power].Reading.Value, "what was given out stays as it was")
	require.Equal(t, -5.1, r.engine.Units()[1].Points[power].Reading.Value)
	_, ok = r.engine.Unit("none")
	require.False(t, ok)
}

func TestOnlyPolledSitesAreJudged(t *testing.T) {
	rule := signalLost()
	r := newRig(t, alarms.EngineConfig{}, rule)
	var judged []string
	rule.say = func(v *alarms.View) []alarms.Verdict {
		judged = append(judged, v.Site.ID)
		return nil
	}
	r.engine.Evaluate(r.now)
	require.Equal(t, []string{"north-quay", "south-quay"}, judged, "a new fleet is judged whole")
	r.engine.Evaluate(r.now)
	require.Len(t, judged, 2)
	r.engine.Observe(poll("sq-room", at(0)))
	r.engine.Observe(poll("sq-room", at(time.Second)))
	r.engine.Evaluate(r.now)
	require.Equal(t, "south-quay", judged[2])
	require.Len(t, judged, 3, "polls are gathered")
	require.EqualValues(t, 3, r.engine.Stats().Rounds)
}

func TestBaselineThatComesLater(t *testing.T) {
	power := collector.Point{Quantity: collector.OpticalReceivePower}
	source := levels{}
	r := newRig(t, alarms.EngineConfig{Baselines: source})
	r.engine.Observe(poll("nq-room", at(0), reading(collector.OpticalReceivePower, -4.5)))
	r.step(time.Second)
	u, _ := r.engine.Unit("nq-room")
	require.False(t, u.Baselined, "commissioning")
	require.Nil(t, u.Points[power].Baseline)
	source[power] = baseline.Level{Value: -4}
	r.step(time.Second)
	u, _ = r.engine.Unit("nq-room")
	require.True(t, u.Baselined)
	require.InDelta(t, -0.5, u.Points[power].Deviation, 1e-9)
	r.engine.Observe(poll("nq-room", at(time.Minute), reading(collector.OpticalReceivePower, -5)))
	u, _ = r.engine.Unit("nq-room")
	require.InDelta(t, -1, u.Points[power].Deviation, 1e-9, "reading and deviation belong together at any time")
	delete(source, power)
	r.step(time.Second)
	u, _ = r.engine.Unit("nq-room")
	require.False(t, u.Points[power].Compared)
}

func TestTemperatureOfThePortExplainsThePoint(t *testing.T) {
	a, b := collector.Point{Quantity: collector.LaserBias, Port: "a"}, collector.Point{Quantity: collector.LaserBias, Port: "b"}
	level := baseline.Level{Value: 20, TempRefC: 25, TempCoeff: 0.5}
	r := newRig(t, alarms.EngineConfig{Baselines: levels{a: level, b: level}})
	r.engine.Observe(poll("nq-room", at(0), reading(collector.Temperature, 35),
		collector.Reading{Point: collector.Point{Quantity: collector.Temperature, Port: "a"}, Value: 45},
		collector.Reading{Point: a, Value: 30}, collector.Reading{Point: b, Value: 30}))
	r.step(time.Second)
	u, _ := r.engine.Unit("nq-room")
	require.InDelta(t, 0, u.Points[a].Deviation, 1e-9, "30 - 20 - 0.5 (45-25)")
	require.InDelta(t, 5, u.Points[b].Deviation, 1e-9, "30 - 20 - 0.5 (35-25)")
}

func TestEachUnit(t *testing.T) {
	r := newRig(t, alarms.EngineConfig{})
	var ids []string
	r.engine.EachUnit(func(u *alarms.UnitView) bool {
		ids = append(ids, u.Unit.ID)
		return len(ids) < 2
	})
	require.Equal(t, []string{"nq-roof", "nq-room"}, ids)
	require.Len(t, r.engine.Units(), 3)
}
