package daemon_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/baseline"
	"lightwell/cmd/lightwell/config"
	"lightwell/collector"
	"lightwell/collector/snmp"
)

// TestLearningOutlivesTheDaemon commissions a unit by hand, stops the daemon in
// the middle of the capture and again after fifteen days of learning.
func TestLearningOutlivesTheDaemon(t *testing.T) {
	t.Parallel()
	b := newBench(t, quayFleet, func(cfg *config.Config) {
		cfg.Credentials = map[string]snmp.Credentials{"v2c": {Version: "2c", Community: collector.NewSecret(quayCommunity)}}
	})
	b.rewrite(func(fleet string) string { return "poll: \"@every 24h\"\n" + fleet[len("\npoll: \"@every 200ms\"\n"):] })
	rx, temp := collector.Point{Quantity: collector.OpticalReceivePower}, collector.Point{Quantity: collector.Temperature}
	at := time.Now().Add(time.Hour)
	poll := func(after time.Duration) {
		at = at.Add(after)
		c := 30 + 8*math.Sin(2*math.Pi*float64(at.Unix())/86400)
		b.daemon.Book().Observe(collector.Poll{Unit: "room-1", Started: at, Readings: []collector.Reading{
			{Point: rx, Value: -3.2 - 0.02*(c-30), Taken: at}, {Point: temp, Value: c, Taken: at},
		}})
	}
	b.start()
	require.NoError(t, b.daemon.Book().Begin([]string{"room-1"}, "kim", at))
	for range 7 {
		poll(time.Minute)
	}
	b.stop()

	b.start()
	shown := b.daemon.Book().Show("room-1", at)
	require.Equal(t, baseline.Capturing, shown.State)
	require.Equal(t, 7, shown.Points[0].Level.Samples)
	for range 5 {
		poll(time.Minute)
	}
	require.NoError(t, b.daemon.Book().Accept([]string{"room-1"}, "kim", "one sensor only", true, at))
	for range 15 * 48 {
		if poll(30 * time.Minute); at.Hour() == 0 {
			_, err := b.daemon.Book().Keep(at, true)
			require.NoError(t, err)
		}
	}
	b.stop()

	b.start()
	levels, ok := b.daemon.Book().Levels("room-1")
	require.True(t, ok)
	require.Equal(t, baseline.Final, levels[rx].Phase)
	require.InDelta(t, -0.02, levels[rx].TempCoeff, 0.001)
	require.Equal(t, baseline.OwnCase, levels[rx].TempSource)
	require.Len(t, b.daemon.Book().Refinements("room-1"), 2)
	var answer struct {
		Items []struct {
			Learning struct{ Phase string }
		}
	}
	b.get("/api/v1/commissioning?resource=unit/room-1", &answer)
	require.Equal(t, "final", answer.Items[0].Learning.Phase)
}
