package drift_test

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/drift"
	"lightwell/alarms/drift/drifttest"
)

const day = 86400

// watch runs a series over a point. It returns the alarms of each kind by
// second, and the series.
func watch(c *drift.Settings, p *drifttest.Point) (map[drift.Kinds][]int64, *drift.Series) {
	s := &drift.Series{}
	raised := map[drift.Kinds][]int64{}
	for r := range p.Readings() {
		if r.Missing {
			continue
		}
		t := s.Observe(c, r.At, r.Value, r.Temp)
		for k := drift.Drift; k <= drift.MirrorIntermittent; k <<= 1 {
			if t.Raised.Has(k) {
				raised[k] = append(raised[k], r.At)
			}
		}
	}
	return raised, s
}

func TestFaultsAreFound(t *testing.T) {
	c := drift.Default()
	for _, tt := range []struct {
		recipe drifttest.Recipe
		kind   drift.Kinds
		within float64 // days
	}{
		{drifttest.Recipe{Kind: drifttest.Drift, Rate: 0.5, Shape: drifttest.Linear}, drift.Drift, 20},
		{drifttest.Recipe{Kind: drifttest.Step, Size: 1}, drift.Step, 1},
		{drifttest.Recipe{Kind: drifttest.Intermittent, Size: 2}, drift.Intermittent, 5},
	} {
		t.Run(tt.recipe.Kind, func(t *testing.T) {
			for seed := range uint64(5) {
				tt.recipe.Seed = seed
				p := drifttest.New(tt.recipe)
				raised, s := watch(&c, p)
				require.NotEmpty(t, raised[tt.kind], "seed %d: %+v", seed, s.Trend(&c))
				require.InDelta(t, float64(p.Start)/day, float64(raised[tt.kind][0])/day, tt.within, "seed %d", seed)
			}
		})
	}
}

func TestHealthyPointsLearn(t *testing.T) {
	c := drift.Default()
	for seed := range uint64(5) {
		p := drifttest.New(drifttest.Recipe{Seed: seed, Days: 60})
		_, s := watch(&c, p)
		trend := s.Trend(&c)
		require.Equal(t, drift.Final, trend.Phase)
		require.Less(t, math.Abs(trend.LostDB), 0.12)
		require.Less(t, trend.TempCoeffSE, 0.01)
	}
}

func median(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	if len(v) == 0 {
		return math.NaN()
	}
	return v[len(v)/2]
}
