package baseline_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// TestSketch: a record as a Book would make it by force, with what speaks
// against it.
func TestSketch(t *testing.T) {
	begun := time.Date(2026, 3, 1, 10, 0, 0, 0, time.UTC)
	rx, dark := collector.Point{Quantity: collector.OpticalReceivePower}, collector.Point{Quantity: collector.OpticalTransmitPower}
	unit := collector.Unit{ID: "a", Equipment: collector.Equipment{Model: "m", Points: []collector.Point{rx, dark}}}
	s := baseline.NewSketch(begun)
	poll := func(i int, restarted bool, level float64) {
		at := begun.Add(time.Duration(i) * time.Minute)
		p := collector.Poll{Unit: "a", Started: at, Restarted: restarted}
		for point, v := range map[collector.Point]float64{rx: level, dark: -38, {Quantity: collector.Temperature}: 21} {
			p.Readings = append(p.Readings, collector.Reading{Unit: "a", Point: point, Value: v, Taken: at})
		}
		s.Observe(p)
	}
	poll(-1, false, -9) // before it began
	require.Zero(t, s.Polls())
	poll(0, false, -9)
	poll(1, true, -3) // what came before a restart does not count
	for i := 2; i < 400; i++ {
		poll(i, false, -3+0.01*float64(i%3))
	}
	s.Observe(collector.Poll{Unit: "a", Started: begun.Add(500 * time.Minute), Err: collector.ErrNoAnswer})
	require.Equal(t, 399, s.Polls())

	now := begun.Add(24 * time.Hour)
	r := s.Record(unit, now)
	require.Len(t, r.Levels, 1, "no light is no level")
	level := r.Levels[rx]
	require.InDelta(t, -2.99, level.Value, 0.011)
	require.Equal(t, 399, level.Samples, "all of them, not the newest only")
	require.Equal(t, 21.0, level.TempRefC)
	require.Equal(t, now, level.CapturedAt)
	require.Contains(t, r.Findings[0], "optical_transmit_power no light")
}
