package history_test

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/history"
)

func TestReadingsComeBack(t *testing.T) {
	folder := t.TempDir()
	s := open(t, folder)
	at := lastHour()
	require.NoError(t, s.Write(
		poll(reading(light, at, -3.21), reading(supply, at, 1), reading(bias, at, 31.7)),
		poll(reading(light, at.Add(time.Minute), -3.22)),
	))
	check := func(s *history.Store) {
		got, err := s.Query(t.Context(), history.Query{Unit: "u1", From: at, To: at.Add(time.Hour)})
		require.NoError(t, err)
		require.Equal(t, []history.Series{
			{bias, []history.Sample{one(at, 31.7)}},
			{light, []history.Sample{one(at, -3.21), one(at.Add(time.Minute), -3.22)}},
			{supply, []history.Sample{one(at, 1)}},
		}, got)
		require.Empty(t, ask(t, s, light, at.Add(-time.Hour), at, 0), "the end of the span does not belong to it")
		require.Equal(t, []history.Sample{one(at, -3.21)}, ask(t, s, light, at, at.Add(time.Minute), 0))
	}
	check(s)
	require.EqualValues(t, 4, s.Stats().Written)
	require.NoError(t, s.Close())
	check(open(t, folder))
}

// A gap stays a gap: what is not known has no number.
func TestOnlyGoodReadingsAreKept(t *testing.T) {
	s := open(t, t.TempDir())
	at := lastHour()
	for i, q := range []collector.Quality{collector.Unavailable, collector.Broken, collector.OutOfRange} {
		r := reading(light, at.Add(time.Duration(i)*time.Second), -3)
		r.Quality = q
		require.NoError(t, s.Write(poll(r)))
	}
	require.NoError(t, s.Write(collector.Poll{Unit: "u1", Err: collector.ErrNoAnswer}))
	require.Empty(t, ask(t, s, light, at, at.Add(time.Hour), 0))
	require.Zero(t, s.Stats().Written)
}

func TestSteps(t *testing.T) {
	s := open(t, t.TempDir())
	at := lastHour().Add(-2 * time.Hour)
	write(t, s, light, at, 30*time.Minute, -5, -3, -4, -9, -7, -8)
	for name, c := range map[string]struct {
		step time.Duration
		want []history.Sample
	}{
		"within the hour": {30 * time.Minute, []history.Sample{
			one(at, -5), one(at.Add(30*time.Minute), -3), one(at.Add(60*time.Minute), -4),
			one(at.Add(90*time.Minute), -9), one(at.Add(120*time.Minute), -7), one(at.Add(150*time.Minute), -8),
		}},
		"an hour": {time.Hour, []history.Sample{
			{at, -4, -5, -3, 2}, {at.Add(time.Hour), -6.5, -9, -4, 2}, {at.Add(2 * time.Hour), -7.5, -8, -7, 2},
		}},
	} {
		t.Run(name, func(t *testing.T) {
			require.Equal(t, c.want, ask(t, s, light, at, at.Add(3*time.Hour), c.step), "before the sum")
			require.NoError(t, s.RollUp(t.Context(), time.Now()))
			require.Equal(t, c.want, ask(t, s, light, at, at.Add(3*time.Hour), c.step), "after it")
		})
	}
	day := at.Truncate(24 * time.Hour)
	got := ask(t, s, light, day, day.Add(48*time.Hour), 24*time.Hour)
	count := 0
	for _, d := range got {
		require.True(t, d.Time.Equal(d.Time.Truncate(24*time.Hour)), "whole days since 1970")
		count += d.Count
	}
	require.Equal(t, 6, count)
}

func TestStepsOfSeveralHours(t *testing.T) {
	s := open(t, t.TempDir())
	at := time.Now().UTC().Truncate(4 * time.Hour).Add(-8 * time.Hour)
	write(t, s, light, at, time.Hour, -5, -3, -4, -9)
	want := []history.Sample{{at, -4.5, -9, -3, 4}}
	require.Equal(t, want, ask(t, s, light, at, at.Add(4*time.Hour), 4*time.Hour))
	require.NoError(t, s.RollUp(t.Context(), time.Now()))
	require.Equal(t, want, ask(t, s, light, at.Add(time.Hour), at.Add(2*time.Hour), 4*time.Hour), "widened to the whole step")
}

func TestQueriesThatCannotBe(t *testing.T) {
	s := open(t, t.TempDir())
	now := time.Now()
	for name, c := range map[string]struct {
		query history.Query
		want  string
	}{
		"no unit":      {history.Query{From: now, To: now.Add(1)}, "names no unit"},
		"empty span":   {history.Query{Unit: "u1", From: now, To: now}, "is empty"},
		"negative":     {history.Query{Unit: "u1", From: now, To: now.Add(1), Step: -1}, "below one second"},
		"too fine":     {history.Query{Unit: "u1", From: now, To: now.Add(1), Step: time.Millisecond}, "below one second"},
		"crooked step": {history.Query{Unit: "u1", From: now, To: now.Add(1), Step: 90 * time.Minute}, "whole hours"},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := s.Query(t.Context(), c.query)
			require.ErrorContains(t, err, c.want)
		})
	}
	got, err := s.Query(t.Context(), history.Query{Unit: "nobody", From: time.Unix(0, 0), To: now.AddDate(1000, 0, 0), Step: time.Hour})
	require.NoError(t, err, "an empty history answers any span")
	require.Empty(t, got)
	got, err = s.Query(t.Context(), history.Query{Unit: "u1", Points: []collector.Point{{Quantity: "x|.*"}}, From: now, To: now.Add(time.Hour)})
	require.NoError(t, err)
	require.Empty(t, got)
}

func TestReadingsAheadOfTheClockAreRefused(t *testing.T) {
	s := open(t, t.TempDir())
	now := time.Now().UTC().Truncate(time.Millisecond)
	write(t, s, light, now.AddDate(1, 0, 0), time.Second, -1) // would make all below too old
	write(t, s, light, now.Add(2*time.Minute+time.Second), time.Second, -1)
	write(t, s, light, now.Add(time.Minute), time.Second, -2)
	write(t, s, light, now, time.Second, -3)
	require.Equal(t, []history.Sample{one(now, -3), one(now.Add(time.Minute), -2)},
		ask(t, s, light, now.Add(-time.Hour), now.AddDate(2, 0, 0), 0))
	require.Equal(t, history.Stats{Written: 2, Ahead: 2}, s.Stats())
}

// Seven days are open for late readings, by the newest one of the fleet.
func TestLateReadings(t *testing.T) {
	s := open(t, t.TempDir())
	now := time.Now().UTC().Truncate(time.Millisecond)
	const day = 24 * time.Hour
	write(t, s, light, now, time.Second, -1)
	write(t, s, light, now.Add(-69*day/10), time.Second, -2)
	write(t, s, light, now.Add(-71*day/10), time.Second, -3)
	require.Equal(t, []history.Sample{one(now.Add(-69*day/10), -2), one(now, -1)}, ask(t, s, light, now.Add(-30*day), now.Add(1), 0))
	require.Equal(t, history.Stats{Written: 2, Late: 1}, s.Stats())

	write(t, s, light, now, time.Second, -1)
	require.Zero(t, s.Stats().Twice, "the same again is no fault")
	write(t, s, light, now, time.Second, -1.5)
	require.EqualValues(t, 1, s.Stats().Twice)
}

// The clock jumps, an hour or a year either way.
func TestGuardAtClockJumps(t *testing.T) {
	start := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	cfg := history.Default("x")
	g := history.NewGuard(cfg)
	at := func(wall time.Time, minutes float64) time.Duration {
		return history.Limit(g, wall, time.Duration(minutes*float64(time.Minute))+1).Sub(start).Round(time.Second)
	}
	require.Equal(t, 2*time.Minute, at(start, 0))
	require.Equal(t, 12*time.Minute, at(start.Add(10*time.Minute), 10))
	require.Equal(t, 14*time.Minute, at(start.Add(12*time.Minute), 11), "a step of a minute is believed")
	for i, jump := range []time.Duration{time.Hour, 365 * 24 * time.Hour} {
		real, elapsed := start.Add(time.Duration(13+2*i)*time.Minute), float64(12+2*i)
		require.Equal(t, real.Sub(start)+2*time.Minute, at(real.Add(jump), elapsed), "a jump ahead is not")
		require.Equal(t, real.Sub(start)+3*time.Minute, at(real.Add(time.Minute+jump), elapsed+1))
		require.Equal(t, real.Sub(start)+3*time.Minute, at(real.Add(time.Minute), elapsed+1), "it went back: all is well")
	}
	require.Equal(t, -58*time.Minute, at(start.Add(-time.Hour), 20), "a jump back is believed at once")
	require.Equal(t, -57*time.Minute, at(start.Add(time.Hour), 21))
	require.Equal(t, -54*time.Minute, at(start.Add(time.Hour+3*time.Minute), 24))
	require.Equal(t, time.Hour+7*time.Minute, at(start.Add(time.Hour+5*time.Minute), 26), "a jump ahead that stands is the new time")
}

func TestASlowHistoryShedsAndCounts(t *testing.T) {
	s := open(t, t.TempDir(), func(c *history.Config) { c.Queue = 2 })
	at := lastHour()
	for i := range 5 {
		s.Append(poll(reading(light, at.Add(time.Duration(i)*time.Minute), -3)))
	}
	s.Append(collector.Poll{Unit: "u1", Err: collector.ErrNoAnswer})
	require.Equal(t, history.Stats{Shed: 3, Waiting: 2}, s.Stats())

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	require.NoError(t, s.Run(ctx), "Run writes what waits before it returns")
	require.Len(t, ask(t, s, light, at, at.Add(time.Hour), 0), 2)
}

func TestRunWrites(t *testing.T) {
	s := open(t, t.TempDir(), func(c *history.Config) { c.Sync = time.Millisecond })
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- s.Run(ctx) }()
	at := lastHour()
	for i := range 100 {
		s.Append(poll(reading(light, at.Add(time.Duration(i)*time.Second), float64(i))))
	}
	require.Eventually(t, func() bool { return s.Stats().Written == 100 }, 10*time.Second, time.Millisecond)
	cancel()
	require.NoError(t, <-ended)
	require.Len(t, ask(t, s, light, at, at.Add(time.Hour), 0), 100)
}

func TestConfigFaults(t *testing.T) {
	require.NoError(t, history.Default("x").Validate())
	bad := history.Config{RawAge: time.Hour, RawSize: 1, HourlySize: 1, DiskStop: math.NaN()}
	err := bad.Validate()
	for _, want := range []string{"needs a folder", "raw 1h0m0s is shorter", "hourly 0s is shorter", "raw size", "hourly size", "longer than zero", "queue", "disk stop"} {
		require.ErrorContains(t, err, want)
	}
	_, err = history.Open(bad, nil)
	require.ErrorContains(t, err, "open history")
}
