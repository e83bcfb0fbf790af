package history_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/history"
)

// Hours that another system kept are read like our own, and ours follow them.
func TestHoursOfBefore(t *testing.T) {
	folder := t.TempDir()
	s := open(t, folder)
	begin := lastHour().Add(-40 * 24 * time.Hour)
	dark := collector.Point{Quantity: collector.OpticalTransmitPower}
	const week = 7 * 24
	for from := 0; from < 39*24; from += week {
		hours := func(level float64) []history.Sample {
			var out []history.Sample
			for h := from; h < min(from+week, 39*24); h++ {
				out = append(out, history.Sample{Time: begin.Add(time.Duration(h) * time.Hour), Value: level, Min: level - 1, Max: level + 1, Count: 60})
			}
			return append(out, history.Sample{Time: begin.Add(time.Minute), Value: 99, Count: 1}, history.Sample{Time: time.Now().Add(48 * time.Hour).Truncate(time.Hour), Value: 99, Count: 1})
		}
		require.NoError(t, s.WriteHours(map[string][]history.Series{
			"u1":    {{Point: light, Samples: hours(-4)}, {Point: dark, Samples: hours(3)}},
			"other": {{Point: light, Samples: hours(-9)}},
		}))
	}
	require.NoError(t, s.WriteHours(nil))
	write(t, s, light, lastHour().Add(-time.Hour), 10*time.Minute, -5, -5, -5)
	require.NoError(t, s.RollUp(t.Context(), time.Now()))
	check := func(s *history.Store) {
		got := ask(t, s, light, begin, time.Now(), 24*time.Hour)
		require.GreaterOrEqual(t, len(got), 40)
		require.InDelta(t, -4, got[20].Value, 1e-9)
		require.InDelta(t, -5, got[len(got)-1].Value, 1e-9)
	}
	check(s)
	require.NoError(t, s.Close())
	check(open(t, folder))
}
