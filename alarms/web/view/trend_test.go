package view_test

import (
	"encoding/json"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/alarms/web/view"
	"lightwell/collector"
)

func TestTrend(t *testing.T) {
	const day = 24 * time.Hour
	rx := collector.Point{Quantity: collector.OpticalReceivePower}
	show := func(tr drift.Trend, forecasts ...alarms.Forecast) *view.Trend {
		u := collector.Unit{ID: "room", Site: "s", Equipment: collector.Equipment{Points: []collector.Point{rx}}}
		b := view.NewBoard(view.Snapshot{
			Now: now, Fleet: collector.NewFleet(collector.Fleet{Units: []collector.Unit{u}}),
			Units: []alarms.UnitView{{Unit: u, Points: map[collector.Point]alarms.PointView{rx: {Trend: &tr, Forecasts: forecasts, Thermometer: "roof"}}}},
		})
		shown, ok := b.Unit("room")
		require.True(t, ok)
		if got := shown.Trends(); len(got) > 0 {
			return got[0].Trend
		}
		return nil
	}
	require.Nil(t, show(drift.Trend{Phase: drift.Prior, LostDB: 3}), "the first day knows nothing")

	got := show(drift.Trend{Phase: drift.Provisional, LostDB: 0.01, TempCoeff: math.NaN()})
	require.Equal(t, "steady", got.Words())
	require.Nil(t, got.PerMonthDB, "no slope before the baseline is final")
	require.Nil(t, got.TempCoeff)
	require.False(t, got.Bad())
	require.False(t, got.Before())
	require.Empty(t, got.Outlook())

	got = show(drift.Trend{Phase: drift.Final, Drift: true, Step: true, Intermittent: true, StepDB: 0.6, SlopeDBPerMonth: 0.1, TempCoeff: 0.02},
		alarms.NewForecast(alarms.LimitLoss, 3, now, drift.Forecast{Lower: 70 * day, Upper: 320 * day}),
		alarms.NewForecast(alarms.LimitReceiver, 2.5, now, drift.Forecast{Lower: 62 * day, Upper: 300 * day}))
	require.Equal(t, "lost 0.60 dB at once, falls slowly, comes and goes", got.Words())
	require.Equal(t, "2.5 dB lost between 2 and 10 months from "+now.UTC().Format(time.DateOnly)+" on", got.Outlook())
	require.Equal(t, "roof", got.Thermometer)
	require.True(t, show(drift.Trend{Phase: drift.Final, LostDB: 0.2, SinceFirstDB: 0.7}).Before())
	require.InDelta(t, 0.1, *got.PerMonthDB, 1e-9)

	text, err := json.Marshal(got)
	require.NoError(t, err)
	require.Contains(t, string(text), `"earliest":`)
	require.NotContains(t, string(text), "Lower", "durations have no place in JSON")
}
