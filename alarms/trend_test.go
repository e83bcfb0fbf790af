package alarms_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/collector"
)

// trends is a TrendSource of one version.
type trends map[string][]alarms.PointTrend

func (t trends) Trends(unit string, since uint64) ([]alarms.PointTrend, uint64) {
	if since == 1 {
		return nil, 1
	}
	return t[unit], 1
}

// A trend that was known before the first poll is shown with it.
func TestTrendsReachTheView(t *testing.T) {
	rx := collector.Point{Quantity: collector.OpticalReceivePower}
	known := &drift.Trend{Phase: drift.Final, LostDB: 0.4}
	at := time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)
	e := alarms.NewEngine(alarms.EngineConfig{
		List:   alarms.NewList(alarms.ListConfig{}),
		Trends: trends{"room": {{Point: rx, Trend: known, Thermometer: "roof"}}},
		Now:    func() time.Time { return at },
	})
	kind := collector.Equipment{Points: []collector.Point{rx}}
	e.SetFleet(collector.NewFleet(collector.Fleet{Sites: []collector.Site{{ID: "s"}}, Units: []collector.Unit{{ID: "room", Site: "s", Equipment: kind}}}))
	e.EvaluateAll(at)
	e.Observe(collector.Poll{Unit: "room", Started: at, Readings: []collector.Reading{{Unit: "room", Point: rx, Value: -4, Taken: at}}})
	e.EvaluateAll(at)
	u, ok := e.Unit("room")
	require.True(t, ok)
	require.Equal(t, known, u.Points[rx].Trend)
	require.Equal(t, "roof", u.Points[rx].Thermometer)
}

func TestForecast(t *testing.T) {
	const day = 24 * time.Hour
	at := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	far := alarms.NewForecast(alarms.LimitLoss, 3, at, drift.Forecast{Lower: 70 * day, Middle: 100 * day, Upper: 320 * day})
	near := alarms.NewForecast(alarms.LimitReceiver, 2, at, drift.Forecast{Lower: 40 * day, Middle: 100 * day, Open: true})
	require.Equal(t, "between 2 and 11 months", far.Words)
	require.Equal(t, at.Add(320*day), far.Latest)
	require.Zero(t, near.Latest, "no end in sight")
	got, ok := alarms.Nearest([]alarms.Forecast{far, near})
	require.True(t, ok)
	require.Equal(t, near, got)
	_, ok = alarms.Nearest(nil)
	require.False(t, ok)
}
