package plant_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/plant"
)

// TestReadAt: a unit read at a plant time is what its agent shows then,
// whatever the wall clock says.
func TestReadAt(t *testing.T) {
	b := newBench(t, 4)
	_, err := b.Inject(plant.Fault{Kind: "management-lost", Unit: "rack"}, start.Add(100*time.Hour))
	require.NoError(t, err)
	for _, id := range []string{"rack", "roof", "module"} {
		for _, after := range []time.Duration{0, time.Minute, 90 * time.Hour} {
			want := b.read(id, after)
			readings, err := b.ReadAt(id, start.Add(after))
			require.NoError(t, err)
			good := map[string]float64{}
			for _, r := range readings {
				require.Equal(t, id, r.Unit)
				require.Equal(t, start.Add(after), r.Taken)
				if r.Quality == collector.Good {
					good[r.Point.String()] = r.Value
				}
			}
			require.Equal(t, want, good, "%s after %s", id, after)
		}
	}
	_, err = b.ReadAt("rack", start.Add(101*time.Hour))
	require.ErrorIs(t, err, collector.ErrNoAnswer)
	_, err = b.ReadAt("nobody", start)
	require.ErrorContains(t, err, `"nobody"`)
}
