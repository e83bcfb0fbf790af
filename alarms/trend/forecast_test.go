package trend_test

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/alarms/trend"
	"lightwell/collector"
)

// TestForecast: 0.4 dB a month from day 40 on reaches 3 dB on day 268.
func TestForecast(t *testing.T) {
	const day = 24 * time.Hour
	least := func(f *collector.Fleet) {
		limit := -8.0
		for i := range f.Units {
			f.Units[i].Equipment.Limits.ReceivePowerMinDBm = &limit
		}
	}
	for _, c := range []struct {
		name    string
		history bool
		broken  bool
		within  time.Duration // of the truth, for what is expected
		words   string
	}{
		{"by the days", true, false, 12 * day, `^between [2-5] and [6-9] months$`},
		{"by the slope", false, false, 40 * day, ""},
		{"a history that does not answer", true, true, 40 * day, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			cfg, p := trend.Config{}, &past{}
			if c.history {
				cfg.History = p
			}
			s := newStage(t, cfg)
			s.k.SetFleet(newFleet(least))
			s.past, s.swing = p, 0.03
			s.loss = ramp(40, 0.4)
			s.play(45)
			s.k.Forecast(context.Background())
			require.Empty(t, s.point("room", rx).Forecasts, "it does not drift yet")
			asked := p.asked
			p.broken = c.broken
			s.play(100)
			s.k.Forecast(context.Background())
			got := s.point("room", rx).Forecasts
			require.Len(t, got, 2)
			require.Equal(t, []string{alarms.LimitLoss, alarms.LimitReceiver}, []string{got[0].Limit, got[1].Limit}, "the smaller loss first")
			require.InDelta(t, 4, got[1].LossDB, 0.05)
			truth := start.Add(268 * day)
			require.WithinDuration(t, truth, got[0].Expected, c.within)
			require.True(t, got[0].Earliest.Before(truth) && truth.Before(got[0].Latest), "%s in %s to %s", truth, got[0].Earliest, got[0].Latest)
			require.False(t, got[1].Earliest.Before(got[0].Earliest), "no larger loss comes first")
			if c.words != "" {
				require.Regexp(t, c.words, got[0].Words)
			}
			if c.history {
				require.Greater(t, p.asked, asked)
			}
			require.Empty(t, s.point("roof", rx).Forecasts)

			version := func() uint64 { _, v := s.k.Trends("room", 0); return v }
			before := version()
			s.k.Forecast(context.Background())
			require.Equal(t, before, version(), "once a day is enough")
		})
	}
}

// TestAForecastLeavesTheLaserOut: what the far laser sends less is not the
// fibre's, in the days as in the alarm.
func TestAForecastLeavesTheLaserOut(t *testing.T) {
	p := &past{}
	s := newStage(t, trend.Config{History: p, Baselines: accepted(start)})
	s.past = p
	s.loss, s.weak = ramp(40, 0.2), step(70.5, 1.2)
	s.play(110)
	s.k.Forecast(context.Background())
	got := s.point("room", rx)
	require.True(t, got.Trend.Drift)
	require.InDelta(t, 0.46, got.Trend.LostDB, 0.06)
	require.NotEmpty(t, got.Forecasts)
	require.InDelta(t, 0.153, got.Forecasts[0].Share, 0.03, "of 3 dB")
}

// TestANoisyGroupsForecastsAreWide: replay widens by the same scale, and holds
// what it claims on twice the noise.
func TestANoisyGroupsForecastsAreWide(t *testing.T) {
	for name, history := range map[string]bool{"by the days": true, "by the slope": false} {
		t.Run(name, func(t *testing.T) {
			width := func(scale float32) float64 {
				cfg, p := trend.Config{Settings: drift.Default()}, &past{}
				cfg.Settings.DriftScale = scale
				if history {
					cfg.History = p
				}
				s := newStage(t, cfg)
				s.past = p
				s.loss = ramp(20, 1.5)
				s.play(65)
				s.k.Forecast(context.Background())
				got := s.point("room", rx).Forecasts
				require.Len(t, got, 1)
				return math.Log(got[0].Latest.Sub(s.now).Hours() / got[0].Earliest.Sub(s.now).Hours())
			}
			usual, noisy := width(1), width(1.6)
			require.InDelta(t, 1.6, noisy/usual, 0.15, "%.2f and %.2f", usual, noisy)
		})
	}
}
