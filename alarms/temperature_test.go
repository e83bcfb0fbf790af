package alarms_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// What comes out of a fibre may follow the case at its other end: the baseline
// then names that unit.
func TestDeviationAtTheTemperatureOfTheFarEnd(t *testing.T) {
	power := collector.Point{Quantity: collector.OpticalReceivePower}
	far := levels{power: baseline.Level{Value: -3, TempRefC: 20, TempCoeff: -0.02, TempSource: baseline.FarEnd, TempUnit: "nq-roof"}}
	r := newRig(t, alarms.EngineConfig{Baselines: far})
	deviation := func() float64 {
		u, ok := r.engine.Unit("nq-room")
		require.True(t, ok)
		require.True(t, u.Points[power].Compared)
		return u.Points[power].Deviation
	}
	r.engine.Observe(poll("nq-room", at(0), reading(collector.OpticalReceivePower, -3.4), reading(collector.Temperature, 50)))
	r.step(0)
	require.InDelta(t, -0.4, deviation(), 1e-9, "the far end is not known yet, and the own case explains nothing")

	r.engine.Observe(poll("nq-roof", at(time.Minute), reading(collector.Temperature, 40)))
	r.engine.Observe(poll("nq-room", at(time.Minute), reading(collector.OpticalReceivePower, -3.4), reading(collector.Temperature, 50)))
	require.InDelta(t, 0, deviation(), 1e-9, "-3.4 - (-3) - (-0.02)(40-20)")

	r.engine.Observe(collector.Poll{Unit: "nq-roof", Started: at(2 * time.Minute), Err: errors.New("timed out")})
	r.engine.Observe(poll("nq-room", at(2*time.Minute), reading(collector.OpticalReceivePower, -3.4)))
	require.InDelta(t, -0.4, deviation(), 1e-9, "an old temperature is none")
}

// What was learnt of a baseline begins no new memory of a point; another
// baseline does.
func TestARefinedBaselineIsTheSame(t *testing.T) {
	power := collector.Point{Quantity: collector.OpticalReceivePower}
	source := levels{power: baseline.Level{Value: -3, CapturedAt: at(-time.Hour)}}
	r := newRig(t, alarms.EngineConfig{Baselines: source})
	for m := range 5 {
		r.engine.Observe(poll("nq-room", at(time.Duration(m)*time.Minute), reading(collector.OpticalReceivePower, -3.2)))
		r.step(time.Minute)
	}
	memory := func() alarms.Past {
		u, _ := r.engine.Unit("nq-room")
		return u.Points[power].Past
	}
	before := memory()
	require.NotZero(t, before)
	source[power] = baseline.Level{Value: -3, CapturedAt: at(-time.Hour), Phase: baseline.Provisional, Spread: 0.02}
	r.step(time.Minute)
	require.Equal(t, before, memory())
	source[power] = baseline.Level{Value: -3.2, CapturedAt: at(5 * time.Minute)}
	r.step(time.Minute)
	require.Zero(t, memory())
}
