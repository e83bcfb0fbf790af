package metrics

import (
	"math"
	"strconv"

	"github.com/prometheus/client_golang/prometheus"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/alarms/trend"
)

// Trends is what is read of a trend.Keeper.
type Trends interface {
	// Groups tells how like points fare together.
	Groups() []trend.GroupTrend
}

const perMonth = 30.4375 * 86400 // seconds

var (
	trendLost      = gauge("trend_lost_decibels", "Light lost against the baseline in force at equal temperature, in decibels; what the laser itself sends less is no loss of its receivers.", pointLabels...)
	trendLostError = gauge("trend_lost_error_decibels", "Standard error of lightwell_trend_lost_decibels, in decibels.", pointLabels...)
	trendSum       = gauge("trend_lost_since_first_decibels", "Light lost since the first baseline, what visits gained taken off, in decibels.", pointLabels...)
	trendSlope     = gauge("trend_slope_decibels_per_second", "Light that is being lost, in decibels per second; times 2629800 it is decibels per month.", pointLabels...)
	trendSlopeErr  = gauge("trend_slope_error_decibels_per_second", "Standard error of lightwell_trend_slope_decibels_per_second, in decibels per second.", pointLabels...)
	trendTemp      = gauge("trend_temperature_coefficient_decibels_per_celsius", "What a point reads more for each degree of the case temperature that explains it, in decibels per degree Celsius.", pointLabels...)
	trendPhase     = gauge("trend_phase", "How far the baseline of the trend is, 1 for the phase that holds.", append(pointLabels[:len(pointLabels):len(pointLabels)], "trend_phase")...)
	trendEarliest  = gauge("trend_limit_earliest_timestamp_seconds", "Early end of the interval in which a limit is reached if a drift goes on, four times out of five, in seconds since 1970.", append(pointLabels[:len(pointLabels):len(pointLabels)], "limit")...)
	trendLatest    = gauge("trend_limit_latest_timestamp_seconds", "Late end of that interval, in seconds since 1970; missing while there is none in sight.", append(pointLabels[:len(pointLabels):len(pointLabels)], "limit")...)
	laserAgeing    = gauge("laser_ageing_ratio", "Share by which a laser needs more bias than when it was learnt, at equal temperature.", "unit", "site", "port")

	trendMirrors = counter("trend_mirror_alarms_total", "Alarms of the rules for slow change turned upside down: false by construction, and about as many as the false ones among the real.", "model", "quantity")
	trendWatched = counter("trend_watched_seconds_total", "Time that points of the model were watched for drift, summed over the points, in seconds.", "model", "quantity")
	trendFalse   = gauge("trend_false_alarms_per_100_point_years", "Running estimate of the false alarms of the rules for slow change, per 100 points and year, from the mirror.", "model", "quantity")
	trendScale   = gauge("trend_threshold_scale_ratio", "Factor that the mirror has put on the thresholds of a rule; 1 as shipped.", "model", "quantity", "rule")
)

var pointLabels = []string{"unit", "site", "port", "quantity"}

// phases are the words of drift.Phase in labels.
var phases = []string{"first_day", "provisional", "final", "doubtful"}

func phaseWord(p drift.Phase) string { return phases[max(1, min(int(p), len(phases)))-1] }

// limitWords are the limits of forecasts in labels.
var limitWords = map[string]string{alarms.LimitLoss: "loss", alarms.LimitReceiver: "receiver", alarms.LimitService: "service"}

type trendCollector struct{ *Metrics }

// Describe implements prometheus.Collector.
func (trendCollector) Describe(ch chan<- *prometheus.Desc) {
	describe(ch, trendLost, trendLostError, trendSum, trendSlope, trendSlopeErr, trendTemp, trendPhase, trendEarliest, trendLatest,
		laserAgeing, trendMirrors, trendWatched, trendFalse, trendScale)
}

// Collect implements prometheus.Collector.
func (c trendCollector) Collect(ch chan<- prometheus.Metric) {
	c.cfg.Engine.EachUnit(func(u *alarms.UnitView) bool {
		for p, pv := range u.Points {
			if pv.Trend != nil {
				collectTrend(ch, &pv, u.Unit.ID, u.Unit.Site, p.Port, string(p.Quantity))
			}
			if l := pv.Laser; l != nil && l.Phase == drift.LaserKnown {
				laserAgeing.send(ch, l.Index, u.Unit.ID, u.Unit.Site, p.Port)
			}
		}
		return true
	})
	if c.cfg.Trends == nil {
		return
	}
	for _, g := range c.cfg.Trends.Groups() {
		labels := []string{g.Model, string(g.Quantity)}
		trendMirrors.send(ch, float64(g.Mirrors), labels...)
		trendWatched.send(ch, g.PointDays*86400, labels...)
		trendFalse.sendKnown(ch, g.FalseAlarms, labels...)
		trendScale.send(ch, g.DriftScale, append(labels, "drift")...)
		trendScale.send(ch, g.StepScale, append(labels, "step")...)
	}
}

func collectTrend(ch chan<- prometheus.Metric, pv *alarms.PointView, labels ...string) {
	t := pv.Trend
	trendPhase.sendStates(ch, phases, phaseWord(t.Phase), labels...)
	if t.Phase < drift.Provisional {
		return
	}
	trendLost.sendKnown(ch, t.LostDB, labels...)
	trendLostError.sendKnown(ch, t.LostSE, labels...)
	trendSum.sendKnown(ch, t.SinceFirstDB, labels...)
	if pv.Thermometer != "" {
		trendTemp.sendKnown(ch, t.TempCoeff, labels...)
	}
	if t.Phase < drift.Final {
		return
	}
	trendSlope.sendKnown(ch, t.SlopeDBPerMonth/perMonth, labels...)
	trendSlopeErr.sendKnown(ch, t.SlopeSE/perMonth, labels...)
	for _, f := range pv.Forecasts {
		word := limitWords[f.Limit]
		if word == "" {
			word = strconv.FormatFloat(f.LossDB, 'f', 1, 64) + "_db"
		}
		at := append(labels[:len(labels):len(labels)], word)
		trendEarliest.sendTime(ch, f.Earliest, at...)
		trendLatest.sendTime(ch, f.Latest, at...)
	}
}

// sendKnown leaves out what is no number.
func (f family) sendKnown(ch chan<- prometheus.Metric, v float64, labels ...string) {
	if !math.IsNaN(v) && !math.IsInf(v, 0) {
		f.send(ch, v, labels...)
	}
}
