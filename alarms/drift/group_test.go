package drift_test

import (
	"encoding/json"
	"iter"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift"
	"lightwell/alarms/drift/drifttest"
)

// live runs healthy points of a year as one group, day by day.
func live(n int, noise float64) (*drift.Group, int) {
	g := drift.NewGroup(drift.Default(), drift.Tally{})
	next := make([]func() (drifttest.Reading, bool), n)
	for i := range next {
		var stop func()
		next[i], stop = iter.Pull(drifttest.New(drifttest.Recipe{Seed: uint64(i), Noise: noise, Period: 3600}).Readings())
		defer stop()
	}
	series := make([]drift.Series, n)
	alarms := 0
	for {
		for i := range series {
			r, ok := next[i]()
			if !ok {
				return g, alarms
			}
			if r.Missing {
				continue
			}
			t := series[i].Observe(g.Settings(), r.At, r.Value, r.Temp)
			g.Observe(t)
			if t.Raised&drift.Faults != 0 {
				alarms++
			}
		}
	}
}

func TestGroupLearnsFromTheMirror(t *testing.T) {
	const points = 100
	usual, alarms := live(points, 1)
	require.InDelta(t, 1, usual.Settings().DriftScale, 0.12)
	require.LessOrEqual(t, alarms, 2)
	noisy, alarms := live(points, 2)
	require.InDelta(t, 1.65, noisy.Settings().DriftScale, 0.2)
	require.LessOrEqual(t, alarms, 4)
	require.Greater(t, noisy.FalseAlarms()+1, usual.FalseAlarms())

	stored, err := json.Marshal(noisy.Tally())
	require.NoError(t, err)
	var back drift.Tally
	require.NoError(t, json.Unmarshal(stored, &back))
	require.InDelta(t, noisy.Settings().DriftScale, drift.NewGroup(drift.Default(), back).Settings().DriftScale, 0.01, "it remembers")
}

func TestBoundsOfAGroup(t *testing.T) {
	fresh := drift.NewGroup(drift.Default(), drift.Tally{})
	require.Equal(t, float32(1), fresh.Settings().DriftScale)
	require.Equal(t, float32(1), fresh.Settings().StepScale)
	require.True(t, math.IsNaN(fresh.FalseAlarms()))

	quiet := drift.NewGroup(drift.Default(), drift.Tally{PointDays: 1e6, Settled: 1000, LogNoise: 1000 * math.Log(0.008)})
	require.Equal(t, float32(drift.MinScale), quiet.Settings().DriftScale)
	require.Equal(t, float32(drift.MinScale), quiet.Settings().StepScale)

	loud := drift.Tally{PointDays: 1e5, Mirrors: 274}
	for i := range loud.Drift {
		loud.Drift[i], loud.Step[i] = 1e4, 1e4
	}
	g := drift.NewGroup(drift.Default(), loud)
	require.Equal(t, float32(drift.MaxScale), g.Settings().DriftScale)
	require.Equal(t, float32(drift.MaxStepScale), g.Settings().StepScale)
	require.InDelta(t, 100.08, g.FalseAlarms(), 0.1)
}

func TestTalliesAdd(t *testing.T) {
	a := drift.Tally{PointDays: 1, Mirrors: 2, Settled: 3, LogNoise: 4}
	a.Drift[1], a.Step[2] = 5, 6
	b := a
	b.Add(a)
	require.Equal(t, 2.0, b.PointDays)
	require.Equal(t, []int{4, 6, 10, 12}, []int{b.Mirrors, b.Settled, b.Drift[1], b.Step[2]})
	require.Equal(t, 8.0, b.LogNoise)
}
