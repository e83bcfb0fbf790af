package daemon_test

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/cmd/lightwell/config"
	"lightwell/collector"
	"lightwell/collector/snmp"
)

// mute answers nothing, so that what a keeper knows is what a test tells it.
type mute struct{}

// Probe implements collector.Prober.
func (mute) Probe(context.Context, collector.Unit) ([]collector.Reading, error) {
	return nil, fmt.Errorf("probe: %w", collector.ErrNoAnswer)
}

// TestTrendsOutliveTheDaemon: what months have brought is there after a
// restart, with and without a history.
func TestTrendsOutliveTheDaemon(t *testing.T) {
	t.Parallel()
	light := collector.Point{Quantity: collector.OpticalReceivePower}
	for _, off := range []bool{false, true} {
		b := newBench(t, quayFleet, func(cfg *config.Config) {
			cfg.Credentials = map[string]snmp.Credentials{"v2c": {Version: "2c", Community: collector.NewSecret(quayCommunity)}}
		})
		b.cfg.History.Off, b.prober = off, mute{}
		b.start()
		begin := time.Now().UTC().Truncate(24 * time.Hour).Add(-70 * 24 * time.Hour)
		for hour := range 70 * 24 {
			at := begin.Add(time.Duration(hour) * time.Hour)
			lost := 0.015 * max(0, float64(hour)/24-30)
			b.daemon.Trends().Observe(collector.Poll{Unit: "room-1", Started: at, Readings: []collector.Reading{
				{Unit: "room-1", Point: light, Value: -4 - lost, Taken: at},
			}})
		}
		trend := func() (drift.Trend, []alarms.Forecast) {
			all, _ := b.daemon.Trends().Trends("room-1", 0)
			for _, p := range all {
				if p.Point == light && p.Trend != nil {
					return *p.Trend, p.Forecasts
				}
			}
			return drift.Trend{}, nil
		}
		before, _ := trend()
		require.True(t, before.Drift)
		b.eventually("a forecast", func() bool { _, f := trend(); return len(f) > 0 })
		b.eventually("it is stored", func() bool { return b.daemon.Trends().Waiting() == 0 })
		b.stop()
		b.start()
		b.eventually("it is read", func() bool { return !b.daemon.Trends().CatchingUp() })
		after, _ := trend()
		require.True(t, after.Drift)
		require.Equal(t, before.Since, after.Since)
		require.InDelta(t, before.LostDB, after.LostDB, 0.02)
		b.stop()
	}
}
