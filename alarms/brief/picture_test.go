package brief_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/brief"
)

func TestPictureOfALink(t *testing.T) {
	s := newStage(2)
	w := brief.New(s.sources)
	for _, back := range []time.Duration{24 * time.Hour, 30 * 24 * time.Hour, 0} {
		p, err := w.Picture(t.Context(), s.fleet.Links[0].ID, "uplink", back, now)
		require.NoError(t, err)
		require.Contains(t, p.Of.Title, "uplink")
		require.Contains(t, p.Says, "optical receive power")
		if back > 0 {
			require.Equal(t, back, p.Of.To.Sub(p.Of.From))
		}
	}
	_, err := w.Picture(t.Context(), "none", "uplink", 0, now)
	require.ErrorIs(t, err, brief.ErrUnknown)
	_, err = w.Picture(t.Context(), s.fleet.Links[0].ID, "sideways", 0, now)
	require.ErrorIs(t, err, brief.ErrUnknown)
}
