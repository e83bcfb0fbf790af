package drifttest_test

import (
	"bytes"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift/drifttest"
)

const day = 86400

func readings(r drifttest.Recipe) []drifttest.Reading {
	return slices.Collect(drifttest.New(r).Readings())
}

func TestSameSeedSameReadings(t *testing.T) {
	r := drifttest.Recipe{Seed: 7, Kind: drifttest.Intermittent, Days: 100}
	require.Equal(t, readings(r), readings(r))
	other := r
	other.Seed = 8
	require.NotEqual(t, readings(r), readings(other))
	require.Len(t, readings(r), 100*48)
}

// TestTruth: a point fails where its loss is 3 dB.
func TestTruth(t *testing.T) {
	for _, shape := range []string{drifttest.Linear, drifttest.Quadratic, drifttest.Exponential} {
		p := drifttest.New(drifttest.Recipe{Kind: drifttest.Drift, Rate: 0.3, Shape: shape})
		require.Zero(t, p.Loss(float64(p.Start)))
		require.InDelta(t, 0.3, p.Loss(float64(p.Start)+day)*30.4375, 0.01, "at onset")
		require.InDelta(t, 3, p.Loss(p.Fail), 1e-6)
		require.GreaterOrEqual(t, p.Start, int64(45*day))
	}
}

// TestFaultsAreInTheReadings: means before and after a step differ by it.
func TestFaultsAreInTheReadings(t *testing.T) {
	mean := func(rs []drifttest.Reading, from, to int64) float64 {
		sum, n := 0.0, 0.0
		for _, r := range rs {
			if !r.Missing && r.At >= from && r.At < to {
				sum, n = sum+r.Value, n+1
			}
		}
		return sum / n
	}
	sound := readings(drifttest.Recipe{Seed: 3, Start: 50 * day})
	step := readings(drifttest.Recipe{Seed: 3, Start: 50 * day, Kind: drifttest.Step, Size: 1.5})
	require.InDelta(t, mean(sound, 0, 50*day), mean(step, 0, 50*day), 0.1)
	require.InDelta(t, 1.5, mean(sound, 50*day, 90*day)-mean(step, 50*day, 90*day), 0.1)
}

func TestFolder(t *testing.T) {
	var rx, service, labels bytes.Buffer
	s := drifttest.NewSample(&rx, &service, &labels)
	s.Add("a", drifttest.New(drifttest.Recipe{Days: 100, Period: 21600}))
	s.Add("b", drifttest.New(drifttest.Recipe{Days: 100, Period: 21600, Kind: drifttest.Service, Size: 0.2, Start: 46 * day}))
	require.NoError(t, s.Close())
	lines := strings.Split(strings.TrimSpace(rx.String()), "\n")
	require.Len(t, lines, 1+2*100)
	require.Regexp(t, `^a,0,(-?\d+|x)( (-?\d+|x)){3},-?\d+( -?\d+){3}$`, lines[1])
	require.Equal(t, "series,begin_s,finish_s\nb,3974400,3978000\n", service.String())
	require.Contains(t, labels.String(), "\na,healthy,,,,,,,100,21600\nb,service,3974400,3978000,,reseat,0.2000,,100,21600\n")
}
