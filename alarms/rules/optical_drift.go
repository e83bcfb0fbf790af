package rules

import (
	"fmt"
	"math"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/collector"
)

// opticalDrift: an optical power falls slowly, far above every limit yet.
type opticalDrift struct{}

// Type implements alarms.Rule.
func (opticalDrift) Type() alarms.Type {
	return alarms.Type{
		ID: Drift, Title: "Optical power drifts",
		Why:      "Light is being lost slowly: dirt, moisture, a joint or a cable that gives way, a laser that ages. There is time to mend it on a planned visit, before the link fails.",
		ClearsBy: "Fourteen days in a row on which the loss is below half of what raises it; a new accepted baseline, which keeps count of what was lost before.",
		Severity: alarms.Warning, Cause: alarms.Cause{Name: "degradedSignal", Number: 3}, EventType: alarms.CommunicationsAlarm,
		Raise: alarms.Damping{Polls: 2}, Clear: alarms.Damping{Polls: 2}, // days have damped it
	}
}

// Time left by the early end of the forecast, and its hysteresis: visits to a
// roof are planned weeks ahead, parts and permits take months.
const (
	driftMajor = 30 * 24 * time.Hour
	driftMinor = 180 * 24 * time.Hour
	driftBack  = 1.25
	driftSure  = 0.1 // share of the limit lost; before, the early end is a guess, and no reason to hurry
)

var slowActions = []string{
	"Plan a visit before the early end of the forecast.",
	"Compare both directions and the other fibres of the cable: one fibre is a connector or a joint, all of them are a closure or the cable.",
	"Inspect, clean and re-seat the connectors at both ends, keys aligned; read again after each.",
	"Where cleaning gains nothing, compare an OTDR trace with that of commissioning.",
}

// Judge implements alarms.Rule.
func (opticalDrift) Judge(v *alarms.View) []alarms.Verdict {
	o := look(v)
	var out []alarms.Verdict
	o.eachTrend(func(u *alarms.UnitView, p collector.Point, t *drift.Trend, at time.Time) {
		verdict := o.trendVerdict(Drift, u, p, at)
		if !t.Drift {
			out = append(out, alarms.Verdict{Resource: verdict.Resource, Seen: at})
			return
		}
		pv := u.Points[p]
		f, known := alarms.Nearest(pv.Forecasts)
		known = known && t.LostDB > 2*t.LostSE // else nothing is clearly lost, as on the way back
		verdict.Active = true
		verdict.Severity = driftSeverity(v.Now, t, f, known, lastSeverity(v, pointKey(Drift, u, p)))
		verdict.Text = driftText(u, p, t, f, known)
		verdict.Details.Observed, verdict.Details.Unit, verdict.Details.Forecasts = number(t.SinceFirstDB), "dB", pv.Forecasts
		if known {
			verdict.Details.Threshold = number(f.LossDB)
		}
		if p.Quantity == collector.OpticalReceivePower {
			verdict.Details.Actions = slowActions
		}
		o.weighMargins(&verdict)
		out = append(out, verdict)
	})
	return out
}

// driftSeverity follows the early end of the forecast, and what is lost
// already.
func driftSeverity(now time.Time, t *drift.Trend, f alarms.Forecast, known bool, was alarms.Severity) alarms.Severity {
	left := time.Duration(math.MaxInt64)
	if known {
		left = f.Earliest.Sub(now)
	}
	within := func(limit time.Duration, s alarms.Severity) bool {
		return left < limit || was >= s && left < time.Duration(driftBack*float64(limit))
	}
	lost := func(limit float64, s alarms.Severity) bool {
		return t.SinceFirstDB >= limit || was >= s && t.SinceFirstDB >= limit-lossBackDB
	}
	switch {
	case f.Share >= driftSure && within(driftMajor, alarms.Major), lost(lossMajorDB, alarms.Major):
		return alarms.Major
	case within(driftMinor, alarms.Minor), lost(lossMinorDB, alarms.Minor):
		return alarms.Minor
	}
	return alarms.Warning
}

// driftText says how much, since when, how sure, how long left, and what to do.
func driftText(u *alarms.UnitView, p collector.Point, t *drift.Trend, f alarms.Forecast, known bool) string {
	text := fmt.Sprintf("%s falls slowly: %.2f dB (give or take %.2f) lost against %.1f dBm at its baseline",
		describe(u, p), t.LostDB, 2*t.LostSE, t.Baseline)
	more := t.SinceFirstDB - t.LostDB
	switch {
	case more >= 0.05 && t.LostDB <= 2*t.LostSE: // no single baseline shows it
		text = fmt.Sprintf("%s has lost %.2f dB since its first baseline, %.1f dBm: all of it before the last visit, and nothing yet (give or take %.2f) since the new baseline",
			describe(u, p), t.SinceFirstDB, t.FirstBaseline, 2*t.LostSE)
	case more >= 0.05:
		text += fmt.Sprintf(", after %.2f dB before the last visit", more)
	}
	if t.SlopeDBPerMonth > 2*t.SlopeSE {
		text += fmt.Sprintf(", now %.2f dB (give or take %.2f) a month", t.SlopeDBPerMonth, 2*t.SlopeSE)
	}
	text += fmt.Sprintf("; noticed on %s.", t.Since.Format(time.DateOnly))
	if known {
		text += fmt.Sprintf(" If it goes on, %s %s from %s on (80 of 100 such forecasts hold).", limitReached(f), f.Words, f.Made.Format(time.DateOnly))
	} else {
		text += " How long it lasts cannot be told yet."
	}
	return text + " " + firstAct(p)
}

func limitReached(f alarms.Forecast) string {
	switch f.Limit {
	case alarms.LimitReceiver:
		return fmt.Sprintf("the %.1f dB that the receiver can spare are lost", f.LossDB)
	case alarms.LimitService:
		return fmt.Sprintf("the %.1f dB that the service bears are lost", f.LossDB)
	}
	return fmt.Sprintf("%.0f dB are lost", f.LossDB)
}
