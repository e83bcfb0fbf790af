// Package probertest is the contract of collector.Prober as a test that any
// implementation can be run through, over a network or in process. It holds
// for every fleet; what to probe comes from the caller.
package probertest

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
)

// Units are what to probe. A unit whose ID is empty is not tried.
type Units struct {
	Good    collector.Unit // answers, and has a good value for every point
	Dark    collector.Unit // answers, or its agent does, and has no value for some point
	Silent  collector.Unit // does not answer
	Refuses collector.Unit // answers that it does not accept the credentials
}

// prompt is how soon a probe returns after its context ends.
const prompt = 100 * time.Millisecond

// Run checks p against the contract.
func Run(t *testing.T, p collector.Prober, units Units) {
	t.Run("a reading for every point", func(t *testing.T) { good(t, p, units.Good) })
	t.Run("concurrent use", func(t *testing.T) { concurrent(t, p, units.Good) })
	t.Run("returns when the context ends", func(t *testing.T) {
		for _, u := range []collector.Unit{units.Good, units.Silent} {
			ended(t, p, u)
		}
	})
	if units.Dark.ID != "" {
		t.Run("a point without a value has a quality", func(t *testing.T) { dark(t, p, units.Dark) })
	}
	for _, c := range []struct {
		name string
		unit collector.Unit
		want error
	}{{"silence", units.Silent, collector.ErrNoAnswer}, {"refusal", units.Refuses, collector.ErrRefused}} {
		if c.unit.ID != "" {
			t.Run(c.name, func(t *testing.T) {
				readings, err := p.Probe(t.Context(), c.unit)
				require.ErrorIs(t, err, c.want)
				require.Nil(t, readings)
			})
		}
	}
}

// probe reads u and checks what holds for every answer.
func probe(t *testing.T, p collector.Prober, u collector.Unit) []collector.Reading {
	t.Helper()
	before := time.Now()
	readings, err := p.Probe(t.Context(), u)
	require.NoError(t, err)
	var points []collector.Point
	for _, r := range readings {
		points = append(points, r.Point)
		require.Equal(t, u.ID, r.Unit)
		require.Equal(t, time.UTC, r.Taken.Location(), "%s: UTC", r.Point)
		require.Equal(t, r.Taken.Round(0), r.Taken, "%s: no monotonic part", r.Point)
		require.False(t, r.Taken.Before(before.Round(0).Add(-time.Millisecond)) || r.Taken.After(time.Now().Add(time.Millisecond)), "%s: taken when the answer arrived", r.Point)
		require.GreaterOrEqual(t, r.Age, time.Duration(0))
		info, known := r.Point.Quantity.Info()
		require.True(t, known, "%s", r.Point)
		if r.Quality == collector.Good {
			require.True(t, r.Value >= info.Min && r.Value <= info.Max, "%s: %g is not plausible", r.Point, r.Value)
		}
	}
	require.ElementsMatch(t, u.Equipment.Points, points, "one reading per point")
	return readings
}

func good(t *testing.T, p collector.Prober, u collector.Unit) {
	for _, r := range probe(t, p, u) {
		require.Equal(t, collector.Good, r.Quality, "%s", r.Point)
	}
}

func dark(t *testing.T, p collector.Prober, u collector.Unit) {
	without := 0
	for _, r := range probe(t, p, u) {
		if r.Quality != collector.Good {
			without++
			require.Zero(t, r.Value, "%s", r.Point)
		}
	}
	require.NotZero(t, without)
}

func concurrent(t *testing.T, p collector.Prober, u collector.Unit) {
	const probes = 4
	errs := make(chan error, probes)
	for range probes {
		go func() {
			_, err := p.Probe(t.Context(), u)
			errs <- err
		}()
	}
	for range probes {
		require.NoError(t, <-errs)
	}
}

func ended(t *testing.T, p collector.Prober, u collector.Unit) {
	if u.ID == "" {
		return
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	began := time.Now()
	_, err := p.Probe(ctx, u)
	require.Error(t, err)
	require.Less(t, time.Since(began), prompt)
}
