package metrics

import (
	"strconv"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/alarms/trend"
	"lightwell/collector"
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

// pointTrendFamilies are those of single points.
func pointTrendFamilies() []*family {
	return []*family{trendLost, trendLostError, trendSum, trendSlope, trendSlopeErr, trendTemp, trendPhase, trendEarliest, trendLatest, laserAgeing}
}

func trendFamilies() []*family {
	return []*family{trendMirrors, trendWatched, trendFalse, trendScale}
}

func (m *Metrics) fillTrend(out *sheet) {
	if m.cfg.Trends == nil {
		return
	}
	for _, g := range m.cfg.Trends.Groups() {
		model, quantity := g.Model, string(g.Quantity)
		out.put(trendMirrors, float64(g.Mirrors), model, quantity)
		out.put(trendWatched, g.PointDays*86400, model, quantity)
		out.put(trendFalse, g.FalseAlarms, model, quantity)
		out.put(trendScale, g.DriftScale, model, quantity, "drift")
		out.put(trendScale, g.StepScale, model, quantity, "step")
	}
}

// fillTrend takes over how a point has changed, as far as that is followed.
func fillTrend(s *sheet, u *alarms.UnitView, p collector.Point, pv *alarms.PointView) {
	id, site, port, quantity := u.Unit.ID, u.Unit.Site, p.Port, string(p.Quantity)
	if l := pv.Laser; l != nil && l.Phase == drift.LaserKnown {
		s.put(laserAgeing, l.Index, id, site, port)
	}
	t := pv.Trend
	if t == nil {
		return
	}
	for _, word := range phases {
		s.put(trendPhase, number(word == phaseWord(t.Phase)), id, site, port, quantity, word)
	}
	if t.Phase < drift.Provisional {
		return
	}
	s.put(trendLost, t.LostDB, id, site, port, quantity)
	s.put(trendLostError, t.LostSE, id, site, port, quantity)
	s.put(trendSum, t.SinceFirstDB, id, site, port, quantity)
	s.putIf(pv.Thermometer != "", trendTemp, t.TempCoeff, id, site, port, quantity)
	if t.Phase < drift.Final {
		return
	}
	s.put(trendSlope, t.SlopeDBPerMonth/perMonth, id, site, port, quantity)
	s.put(trendSlopeErr, t.SlopeSE/perMonth, id, site, port, quantity)
	for _, f := range pv.Forecasts {
		word := limitWords[f.Limit]
		if word == "" {
			word = strconv.FormatFloat(f.LossDB, 'f', 1, 64) + "_db"
		}
		s.putTime(trendEarliest, f.Earliest, id, site, port, quantity, word)
		s.putTime(trendLatest, f.Latest, id, site, port, quantity, word)
	}
}
