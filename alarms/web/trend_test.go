package web_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/collector"
)

// TestASlowFaultOnThePages: the unit, the link it hurts, its alarm and the API
// tell how much, since when, and how long is left.
func TestASlowFaultOnThePages(t *testing.T) {
	const months = 30 * 24 * time.Hour
	s := newStage(t, makeFleet(1, 1), day)
	forecasts := []alarms.Forecast{
		alarms.NewForecast(alarms.LimitLoss, 3, day, drift.Forecast{Lower: 3 * months, Middle: 5 * months, Upper: 11 * months}),
		alarms.NewForecast(alarms.LimitReceiver, 7.7, day, drift.Forecast{Lower: 9 * months, Middle: 15 * months, Open: true}),
	}
	rx := collector.Point{Quantity: collector.OpticalReceivePower}
	for _, u := range s.engine.units {
		if u.Unit.ID == "a1-room" {
			pv := u.Points[rx]
			pv.Trend = &drift.Trend{Phase: drift.Final, LostDB: 0.42, LostSE: 0.02, SinceFirstDB: 0.9, SlopeDBPerMonth: 0.19, SlopeSE: 0.01, TempCoeff: -0.012, Drift: true, Since: day.Add(-40 * 24 * time.Hour)}
			pv.Forecasts, pv.Thermometer = forecasts, "a1-roof"
			u.Points[rx] = pv
		}
	}
	key := alarms.Key{Resource: "unit/a1-room/optical_receive_power", Type: "optical-drift"}
	s.list.Apply(day, alarms.Update{Key: key, Site: "north-quay", Active: true, Severity: alarms.Warning, Text: "falls slowly", Details: alarms.Details{Forecasts: forecasts}})

	outlook := "3.0 dB lost between 2 and 11 months from " + day.UTC().Format(time.DateOnly) + " on"
	unit := s.get("/units/a1-room").Body.String()
	for _, words := range []string{"Over weeks and months", "0.42 ± 0.02 dB", "0.90 dB in all", "0.19 ± 0.01 dB", "falls slowly", outlook, "−0.012 dB/°C", "case of a1-roof", "final"} {
		require.Contains(t, unit, words)
	}
	require.NotContains(t, s.get("/units/a1-roof").Body.String(), "Over weeks and months", "nothing is known of it")
	require.Contains(t, s.get("/sites/north-quay").Body.String(), outlook)
	page := s.get("/alarms/" + alarms.NewID(key)).Body.String()
	require.Contains(t, page, "3 dB lost: between 2 and 11 months")
	require.Contains(t, page, "what the receiver needs (7.7 dB lost): more than 8 months")

	got := decode(t, s.get("/api/v1/units/a1-room"))
	for _, p := range got["points"].([]any) {
		if p := p.(map[string]any); p["point"] == "optical_receive_power" {
			trend := p["trend"].(map[string]any)
			require.InDelta(t, 0.42, trend["lost_db"], 1e-9)
			require.Equal(t, "a1-roof", trend["temperature_of"])
			require.Len(t, trend["forecasts"], 2)
		}
	}
}
