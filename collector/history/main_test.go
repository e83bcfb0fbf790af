package history_test

import (
	"os"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/history"
)

func TestMain(m *testing.M) {
	if folder := os.Getenv(childFolder); folder != "" {
		writeUntilKilled(folder)
	}
	// What is ignored was left by a database that could not be closed: its disk had
	// turned read-only.
	goleak.VerifyTestMain(m, goleak.IgnoreTopFunction("github.com/prometheus/prometheus/tsdb/wlog.(*WL).run"))
}

// open opens a store that the test closes.
func open(t testing.TB, folder string, set ...func(*history.Config)) *history.Store {
	t.Helper()
	cfg := history.Default(folder)
	for _, f := range set {
		f(&cfg)
	}
	s, err := history.Open(cfg, zap.NewNop())
	require.NoError(t, err)
	t.Cleanup(func() { _ = s.Close() }) // the second time after a test's own Close
	return s
}

var (
	light  = collector.Point{Quantity: collector.OpticalReceivePower}
	bias   = collector.Point{Quantity: collector.LaserBias}
	supply = collector.Point{Quantity: collector.SupplyState, Port: "b"}
)

// reading is a good reading of unit u1.
func reading(p collector.Point, at time.Time, value float64) collector.Reading {
	return collector.Reading{Unit: "u1", Point: p, Value: value, Taken: at.UTC()}
}

func poll(readings ...collector.Reading) collector.Poll {
	return collector.Poll{Unit: "u1", Readings: readings}
}

// write writes readings of a point, one a step.
func write(t testing.TB, s *history.Store, p collector.Point, from time.Time, step time.Duration, values ...float64) {
	t.Helper()
	var all []collector.Poll
	for i, v := range values {
		all = append(all, poll(reading(p, from.Add(time.Duration(i)*step), v)))
	}
	require.NoError(t, s.Write(all...))
}

// ask returns the samples of a point.
func ask(t testing.TB, s history.Source, p collector.Point, from, to time.Time, step time.Duration) []history.Sample {
	t.Helper()
	got, err := s.Query(t.Context(), history.Query{Unit: "u1", Points: []collector.Point{p}, From: from, To: to, Step: step})
	require.NoError(t, err)
	if len(got) == 0 {
		return nil
	}
	require.Len(t, got, 1)
	require.Equal(t, p, got[0].Point)
	return got[0].Samples
}

// one is the sample of a single reading.
func one(at time.Time, v float64) history.Sample { return history.Sample{at.UTC(), v, v, v, 1} }

// lastHour is a whole hour that ended long enough ago to be summed up.
func lastHour() time.Time { return time.Now().UTC().Truncate(time.Hour).Add(-2 * time.Hour) }
