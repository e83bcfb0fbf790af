package baseline

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// The formulas are not reachable from outside one at a time, so this test is
// in the package.

func TestSpread(t *testing.T) {
	for _, c := range []struct {
		name           string
		values         []float64
		centre, q, sig float64
	}{
		{"an outlier ignored", []float64{1, 2, 3, 4, 5, 6, 7, 8, 100}, 5, 0, 2.965204},
		{"quiet, step known: half a step", []float64{-3.2, -3.2, -3.2, -3.1}, -3.2, 0.1, 0.05},
		{"quiet, step not known: the floor", []float64{-3.2, -3.2, -3.2}, -3.2, 0, spreadFloor},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.InDelta(t, c.sig, spread(c.values, c.centre, c.q), 1e-6)
		})
	}
}

func TestThirds(t *testing.T) {
	drift, se := thirds([]float64{1, 1, 1, 5, 5, 5, 2, 2, 2}, 1)
	require.InDelta(t, 1, drift, 1e-9)
	require.InDelta(t, 1.2533*0.5*0.81650, se, 1e-4, "neighbours are alike: half a quantum; sqrt(2/3)")
	drift, se = thirds([]float64{1, 9}, 1)
	require.Zero(t, drift)
	require.Zero(t, se)
}

// TestDriftVerdictOnNoise: white noise alone is rarely taken for a drift, at
// the least number of readings that Default asks for.
func TestDriftVerdictOnNoise(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	wrong := 0
	for range 2000 {
		v := make([]float64, 10)
		for i := range v {
			v[i] = 0.3 * r.NormFloat64()
		}
		if drift, se := thirds(v, 0); math.Abs(drift) > max(4*se, Default().DriftDB) {
			wrong++
		}
	}
	require.Less(t, wrong, 2000/50)
}

func TestRingKeepsTheNewestInOrder(t *testing.T) {
	var r ring
	for i := range 7 {
		r.add(sample{int64(i), float64(i)}, 3)
	}
	v, span := r.values()
	require.Equal(t, []float64{4, 5, 6}, v)
	require.EqualValues(t, 2, span)
	r.add(sample{6, 99}, 3) // not newer
	r.add(sample{5, 99}, 3)
	v, _ = r.values()
	require.Equal(t, []float64{4, 5, 6}, v)
}
