package diagnosis_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/diagnosis"
	"lightwell/collector/plant"
)

// TestTableIsComplete: each of the 26 rows of the usual table is there once,
// each cause can be told to people, and each can be played on the plant.
func TestTableIsComplete(t *testing.T) {
	rows, ids := map[int]string{}, map[string]bool{}
	for _, c := range diagnosis.Causes() {
		require.False(t, ids[c.ID], "%s twice", c.ID)
		ids[c.ID] = true
		if c.Row != 0 {
			require.Empty(t, rows[c.Row], "row %d twice", c.Row)
			rows[c.Row] = c.ID
		}
		require.NotEmpty(t, c.Title, c.ID)
		require.NotEmpty(t, c.Actions, "%s: what to do", c.ID)
		require.NotEmpty(t, c.Disproof, "%s: what would disprove it", c.ID)
		require.NotEmpty(t, c.Basis, "%s: where it comes from", c.ID)
		require.NotEmpty(t, c.Signatures, c.ID)
		if !c.NoVisit {
			require.NotEmpty(t, c.Bring, "%s: what to bring", c.ID)
			require.NotEmpty(t, c.Cautions, "%s sends somebody there: cautions", c.ID)
		}
	}
	for row := 1; row <= 26; row++ {
		require.NotEmpty(t, rows[row], "row %d", row)
	}
	playable := map[string]bool{"antenna-feed-fault": true, "indoor-power-lost": true, "mains-lost": true} // played by kinds of other names
	for _, k := range plant.Kinds() {
		playable[k.Name] = true
	}
	for id := range ids {
		require.True(t, playable[id], "no fault of the plant plays %s", id)
	}
}

// TestSignaturesAreSound: what would make a fit senseless.
func TestSignaturesAreSound(t *testing.T) {
	states := map[diagnosis.Signal]bool{
		diagnosis.Dark: true, diagnosis.BiasAtLimit: true, diagnosis.LaserDark: true, diagnosis.Warming: true, diagnosis.Silent: true, diagnosis.Restarted: true,
		diagnosis.SupplyFailed: true, diagnosis.FeedOpen: true, diagnosis.FeedShort: true, diagnosis.Cold: true,
	}
	for _, c := range diagnosis.Causes() {
		for _, s := range c.Signatures {
			require.Positive(t, s.Rate, c.ID)
			require.True(t, s.Max == 0 && s.Min == 0 || s.Min > 0 && s.Max > s.Min, "%s: sizes from %g to %g", c.ID, s.Min, s.Max)
			require.Equal(t, s.Max > 0, sized(s), "%s: a size, and effects that follow it", c.ID)
			if s.Shapes != (diagnosis.Shapes{}) {
				require.InDelta(t, 1, s.Shapes[alarms.ShapeStep]+s.Shapes[alarms.ShapeRamp]+s.Shapes[alarms.ShapeComes], 0.01, c.ID)
			}
			for _, e := range s.Effects {
				require.GreaterOrEqual(t, e.Spread, 0.0, c.ID)
				require.GreaterOrEqual(t, e.SpreadPerSize, 0.0, c.ID)
				if states[e.Signal] {
					require.True(t, e.Fixed > 0 && e.Fixed < 1 && e.PerSize == 0 && e.Spread == 0, "%s: a state has a probability and nothing else", c.ID)
				}
			}
		}
	}
}

func sized(s diagnosis.Signature) bool {
	for _, e := range s.Effects {
		if e.PerSize != 0 || e.SpreadPerSize != 0 {
			return true
		}
	}
	return false
}
