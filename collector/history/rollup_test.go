package history_test

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/history"
)

// The hours outlive the readings they were made of.
func TestHoursOutliveReadings(t *testing.T) {
	folder := t.TempDir()
	limit := func(c *history.Config) { c.RawAge = 24 * time.Hour }
	s := open(t, folder, limit)
	begin := lastHour().Add(-72 * time.Hour)
	var values []float64
	for i := range 72 * 4 {
		values = append(values, float64(i%4))
	}
	write(t, s, light, begin, 15*time.Minute, values...)
	require.NoError(t, s.RollUp(t.Context(), time.Now()))
	require.NoError(t, s.Compact(t.Context()))
	require.NoError(t, s.Compact(t.Context()))
	require.Empty(t, ask(t, s, light, begin, begin.Add(24*time.Hour), 0), "blocks beyond the age are gone")
	check := func(s *history.Store) {
		hours := ask(t, s, light, begin, begin.Add(72*time.Hour), time.Hour)
		require.Len(t, hours, 72)
		for i, h := range hours {
			require.Equal(t, history.Sample{begin.Add(time.Duration(i) * time.Hour), 1.5, 0, 3, 4}, h)
		}
	}
	check(s)
	require.NoError(t, s.Close())
	s = open(t, folder, limit)
	check(s)
	require.NoError(t, s.RollUp(t.Context(), time.Now()), "the last hour is summed up again after a restart")
	check(s)
}

// An hour is summed up once it has ended and the delay is over, not before.
func TestAnHourIsSummedUpAfterItsDelay(t *testing.T) {
	s := open(t, t.TempDir())
	at := lastHour()
	write(t, s, light, at, 10*time.Minute, 1, 2, 3)
	require.NoError(t, s.RollUp(t.Context(), at.Add(time.Hour+9*time.Minute)))
	write(t, s, light, at.Add(50*time.Minute), time.Minute, 10)
	require.NoError(t, s.RollUp(t.Context(), at.Add(time.Hour+10*time.Minute)))
	write(t, s, light, at.Add(55*time.Minute), time.Minute, 99) // too late for the sum
	require.Equal(t, []history.Sample{{at, 2.5, 1, 10, 4}}, ask(t, s, light, at, at.Add(time.Hour), time.Hour))
	require.Len(t, ask(t, s, light, at, at.Add(time.Hour), 0), 5)
}

func TestNothingToSumUp(t *testing.T) {
	s := open(t, t.TempDir())
	require.NoError(t, s.RollUp(t.Context(), time.Now()))
	write(t, s, light, time.Now(), time.Second, 1)
	require.NoError(t, s.RollUp(t.Context(), time.Now()))
}

// A bound by size deletes the oldest blocks.
func TestSizeBound(t *testing.T) {
	s := open(t, t.TempDir(), func(c *history.Config) { c.RawSize = 16 << 20 })
	begin := lastHour().Add(-30 * 24 * time.Hour)
	noise := uint64(1)
	for day := range 12 {
		var polls []collector.Poll
		for i := range 24 * 60 {
			at := begin.Add(time.Duration(day*24*60+i) * time.Minute)
			p := collector.Poll{}
			for u := range 128 {
				noise ^= noise << 13
				noise ^= noise >> 7
				noise ^= noise << 17
				p.Readings = append(p.Readings, collector.Reading{Unit: fmt.Sprintf("u%d", u), Point: light, Value: float64(noise), Taken: at})
			}
			polls = append(polls, p)
		}
		require.NoError(t, s.Write(polls...))
		require.NoError(t, s.Compact(t.Context()))
	}
	require.NotZero(t, s.Blocks())
	require.Empty(t, ask(t, s, light, begin, begin.Add(24*time.Hour), 0), "the oldest are gone")
	require.NotEmpty(t, ask(t, s, light, begin.Add(11*24*time.Hour), begin.Add(12*24*time.Hour), 0), "the newest are there")
}

// A copy made while readings come opens as a history of its own.
func TestSnapshot(t *testing.T) {
	s := open(t, t.TempDir())
	at := lastHour().Add(-24 * time.Hour)
	write(t, s, light, at, time.Hour, 1, 2, 3, 4, 5, 6)
	write(t, s, light, at.Add(90*time.Minute), time.Hour, 2.5) // late
	require.NoError(t, s.RollUp(t.Context(), time.Now()))
	copied := filepath.Join(t.TempDir(), "copy")
	require.NoError(t, s.Snapshot(t.Context(), copied))
	write(t, s, light, at.Add(10*time.Hour), time.Hour, 7)
	require.ErrorContains(t, s.Snapshot(t.Context(), copied), "is not empty")

	c := open(t, copied)
	for _, step := range []time.Duration{0, time.Hour} {
		want := ask(t, s, light, at, at.Add(9*time.Hour), step)
		require.NotEmpty(t, want)
		require.Equal(t, want, ask(t, c, light, at, at.Add(24*time.Hour), step))
	}
	write(t, c, light, at.Add(11*time.Hour), time.Hour, 8)
	require.NotEmpty(t, ask(t, c, light, at.Add(11*time.Hour), at.Add(12*time.Hour), 0), "and goes on")

	empty := filepath.Join(t.TempDir(), "empty")
	require.NoError(t, open(t, t.TempDir()).Snapshot(t.Context(), empty))
	open(t, empty)
}
