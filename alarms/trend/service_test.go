package trend_test

import (
	"context"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/trend"
	"lightwell/collector"
)

// TestForecastToWhatTheServiceBears: gain control makes up for 2 dB, which is
// less than the 3 dB of every receiver, so its end comes first.
func TestForecastToWhatTheServiceBears(t *testing.T) {
	reserve := 4.0
	held := func(f *collector.Fleet) {
		for i := range f.Units {
			f.Units[i].Equipment.Optics.AGCReserveDB = &reserve
		}
	}
	shared := func(f *collector.Fleet) {
		held(f)
		twin := f.Links[0]
		twin.ID = "l2"
		f.Links = append(f.Links, twin)
	}
	for _, c := range []struct {
		name   string
		change func(*collector.Fleet)
		want   []string
	}{
		{"gain control", held, []string{alarms.LimitService, alarms.LimitLoss}},
		{"a receiver that links share", shared, []string{alarms.LimitLoss}},
	} {
		s := newStage(t, trend.Config{})
		s.k.SetFleet(newFleet(c.change))
		s.loss = ramp(40, 0.4)
		s.play(100)
		s.k.Forecast(context.Background())
		var limits []string
		for _, f := range s.point("room", rx).Forecasts {
			limits = append(limits, f.Limit)
			if f.Limit == alarms.LimitService {
				require.InDelta(t, 2, f.LossDB, 1e-9)
			}
		}
		require.Equal(t, c.want, limits, c.name)
	}
}
