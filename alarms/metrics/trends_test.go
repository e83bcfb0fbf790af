package metrics_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/alarms/trend"
	"lightwell/collector"
)

// Groups implements metrics.Trends.
func (p *plant) Groups() []trend.GroupTrend {
	return []trend.GroupTrend{
		{Model: "rack-dual-supply", Quantity: collector.OpticalReceivePower, Mirrors: 1, PointDays: 73050, FalseAlarms: 0.5, DriftScale: 1.25, StepScale: 1},
		{Model: "new-model", Quantity: collector.OpticalReceivePower, FalseAlarms: math.NaN(), DriftScale: 1, StepScale: 1},
	}
}

// fading gives the optical points of a unit trends.
func fading(u *alarms.UnitView) {
	const day = 24 * time.Hour
	set := func(q collector.Quantity, change func(*alarms.PointView)) {
		p := point(q, "")
		pv := u.Points[p]
		change(&pv)
		u.Points[p] = pv
	}
	set(collector.OpticalReceivePower, func(pv *alarms.PointView) {
		pv.Trend = &drift.Trend{Phase: drift.Final, LostDB: 0.5, LostSE: 0.02, SinceFirstDB: 0.75, SlopeDBPerMonth: 2.6298, SlopeSE: 0.26298, TempCoeff: 0.01, Drift: true}
		pv.Thermometer = "nq-roof"
		pv.Forecasts = []alarms.Forecast{
			alarms.NewForecast(alarms.LimitLoss, 3, polled, drift.Forecast{Lower: 60 * day, Middle: 100 * day, Upper: 300 * day}),
			alarms.NewForecast(alarms.LimitReceiver, 2, polled, drift.Forecast{Lower: 30 * day, Middle: 100 * day, Open: true}),
		}
	})
	set(collector.OpticalTransmitPower, func(pv *alarms.PointView) { pv.Trend = &drift.Trend{Phase: drift.Prior, LostDB: 7} })
	set(collector.LaserBias, func(pv *alarms.PointView) { pv.Laser = &drift.LaserTrend{Phase: drift.LaserKnown, Index: 0.125} })
}

// TestWhatATrendDoesNotKnowIsLeftOut: NaN marks no missing data (OpenMetrics).
func TestWhatATrendDoesNotKnowIsLeftOut(t *testing.T) {
	text := page(t, story().metrics())
	for _, line := range []string{
		`lightwell_trend_slope_decibels_per_second{port="",quantity="optical_receive_power",site="north-quay",unit="nq-room"} 1e-06`,
		`lightwell_trend_limit_latest_timestamp_seconds{limit="loss",port="",quantity="optical_receive_power",site="north-quay",unit="nq-room"}`,
		`lightwell_trend_phase{port="",quantity="optical_transmit_power",site="north-quay",trend_phase="first_day",unit="nq-room"} 1`,
		`lightwell_trend_watched_seconds_total{model="rack-dual-supply",quantity="optical_receive_power"} 6.31152e+09`,
		`lightwell_laser_ageing_ratio{port="",site="north-quay",unit="nq-room"} 0.125`,
	} {
		require.Contains(t, text, line)
	}
	for _, line := range strings.Split(text, "\n") {
		require.False(t, strings.HasPrefix(line, "lightwell_trend_lost_decibels") && strings.Contains(line, "transmit"), "the first day knows no loss: %s", line)
		require.False(t, strings.HasPrefix(line, "lightwell_trend_limit_latest") && strings.Contains(line, "receiver"), "there is no end in sight: %s", line)
		require.False(t, strings.HasPrefix(line, "lightwell_trend_false") && strings.Contains(line, "new-model"), line)
	}
}
