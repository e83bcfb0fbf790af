package rules

import (
	"fmt"
	"slices"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/collector"
)

// laserAgeing: a laser needs more current than when it was learnt, at equal
// temperature, or its driver has little left to give.
type laserAgeing struct{}

// Type implements alarms.Rule.
func (laserAgeing) Type() alarms.Type {
	return alarms.Type{
		ID: LaserAgeing, Title: "Laser ageing",
		Why:      "Power control hides an ageing laser: its light stays, its current climbs, and once the driver has no more to give the light goes within weeks. Until then it can be exchanged on a planned visit.",
		ClearsBy: "Seven days in a row on which the current, at equal temperature, is two hundredths back below the limit; a laser that a visit has exchanged; for a driver near its limit, the current 3 % of the limit below.",
		Severity: alarms.Warning, Cause: alarms.Cause{Name: "equipmentMalfunction", Number: 514}, EventType: alarms.EquipmentAlarm,
		Raise: alarms.Damping{Polls: 3}, Clear: alarms.Damping{Polls: 3}, // days have damped the ageing
	}
}

// Shares of the driver's largest current: where it counts as near, and how
// far the current must fall back.
const (
	driverNear = 0.9
	driverBack = 0.03
)

var ageingActions = []string{
	"Plan to exchange the laser module or the unit before the early end of the forecast.",
	"Order the part now if it has to come from far.",
	"See whether the case runs hotter than it has to: a laser ages two to three times as fast at 45 °C as at 25 °C.",
}

// ageingGrades are the severities of the limits passed.
var ageingGrades = [...]alarms.Severity{0, alarms.Warning, alarms.Minor, alarms.Major}

// Judge implements alarms.Rule.
func (laserAgeing) Judge(v *alarms.View) []alarms.Verdict {
	o := look(v)
	var out []alarms.Verdict
	for _, u := range v.Units {
		if u.Up() && !o.isBlind(u) {
			pointsOf(u, collector.LaserBias, func(p collector.Point) { out = o.judgeAgeing(u, p, out) })
		}
	}
	return out
}

func (o *optics) judgeAgeing(u *alarms.UnitView, p collector.Point, out []alarms.Verdict) []alarms.Verdict {
	bias, at, ok := measured(u, p)
	if !ok || o.warming(u) {
		return out
	}
	key := pointKey(LaserAgeing, u, p)
	most, t := u.Unit.Equipment.Limits.BiasMaxMA, u.Points[p].Laser
	driver := driverSeverity(bias, most, lastSeverity(o.view, key))
	if o.failing(u, p) { // no longer a matter of age
		driver = 0
	}
	aged, judged := ageingSeverity(t)
	v := alarms.Verdict{Resource: key.Resource, Seen: at, Steady: true}
	switch {
	case driver == 0 && aged == 0:
		if judged || most != nil {
			out = append(out, v)
		}
		return out
	case driver > aged:
		v.Text = fmt.Sprintf("%s is %.1f mA, and the driver gives %.0f mA at most: %s.%s First compare the transmit power with its baseline, then exchange the laser module or the unit.",
			describe(u, p), bias, *most, o.lightLeft(u, p), hotter(t, *most))
		v.Details.Observed, v.Details.Threshold, v.Details.Unit = number(bias), number(driverNear**most), "mA"
	default:
		v.Text = ageingText(u, p, t)
		v.Details.Observed, v.Details.Threshold, v.Details.Unit = number(100*t.Index), number(100*t.Passed), "%"
	}
	v.Active, v.Severity = true, max(driver, aged)
	v.Details.Actions, v.Details.Cautions = ageingActions, sourceCare
	o.impactOfLaser(&v, u, p, driver == alarms.Major)
	return append(out, v)
}

// driverSeverity judges a bias against what the driver can give.
func driverSeverity(bias float64, most *float64, was alarms.Severity) alarms.Severity {
	if most == nil {
		return 0
	}
	beyond := func(limit float64, s alarms.Severity) bool {
		return bias >= limit || was >= s && bias > limit-driverBack**most
	}
	switch {
	case beyond(*most, alarms.Major):
		return alarms.Major
	case beyond(driverNear**most, alarms.Minor):
		return alarms.Minor
	}
	return 0
}

// ageingSeverity judges a laser by the limits that it has passed. What was
// not judged today, because the case is colder or hotter than any temperature
// that the laser was learnt at, stays as it is.
func ageingSeverity(t *drift.LaserTrend) (s alarms.Severity, judged bool) {
	if t == nil || t.Phase != drift.LaserKnown || t.Judged.IsZero() {
		return 0, false
	}
	return ageingGrades[t.Grade], t.MissedDays == 0
}

// ageingText says how much, since when, how sure, how long left, and what to
// do.
func ageingText(u *alarms.UnitView, p collector.Point, t *drift.LaserTrend) string {
	text := fmt.Sprintf("%s: the laser takes %.0f %% (give or take %.0f) more current than when it was new, at equal temperature", describe(u, p), 100*t.Index, max(1, 200*t.IndexSE))
	if !t.Since.IsZero() {
		text += ", noticeable since " + t.Since.Format(time.DateOnly)
	}
	if t.PerMonth > 2*t.MonthSE {
		text += fmt.Sprintf(", now %.1f %% (give or take %.1f) a month", 100*t.PerMonth, 200*t.MonthSE)
	}
	text += "."
	switch {
	case t.HasForecast:
		f := drift.Forecast{Lower: t.Earliest, Middle: t.Expected, Upper: t.Latest}
		text += fmt.Sprintf(" If it goes on, +%.0f %% is reached %s from %s on (80 of 100 such forecasts hold).", 100*t.Next, f, t.Judged.Format(time.DateOnly))
	case t.Next > 0:
		text += " How long it lasts cannot be told yet."
	default:
		text += " That is the end of its life by common practice."
	}
	if t.MissedDays > 0 {
		text += fmt.Sprintf(" Not judged for %d days: the case is outside the %.0f to %.0f °C that the laser was learnt at.", t.MissedDays, t.ColdC, t.HotC)
	}
	return text + " First plan to exchange the laser module or the unit."
}

// lightLeft tells what becomes of the light of a laser whose driver is near its
// end.
func (o *optics) lightLeft(u *alarms.UnitView, p collector.Point) string {
	for i := range o.fibres {
		f := &o.fibres[i]
		if f.from.unit != u || p.Port != "" && f.from.port != p.Port {
			continue
		}
		if dev, _, ok := deviation(u, f.from.laser()); ok && dev <= -lossMinorDB {
			return fmt.Sprintf("it cannot hold the light, which is %.1f dB below its baseline", -dev)
		}
	}
	return "soon it cannot hold the light any more"
}

// failing tells whether the light of a laser has fallen so far that it counts
// as failed.
func (o *optics) failing(u *alarms.UnitView, p collector.Point) bool {
	return slices.ContainsFunc(o.fibres, func(f fibre) bool {
		if f.from.unit != u || p.Port != "" && f.from.port != p.Port || f.sent.light != lit {
			return false
		}
		_, spent := o.spent(&f)
		return spent
	})
}

// hotter tells what the laser will need at the hottest temperature it is
// known at, when that is more than its driver has.
func hotter(t *drift.LaserTrend, most float64) string {
	if t == nil || t.Phase != drift.LaserKnown || t.HotBiasMA < most {
		return ""
	}
	return fmt.Sprintf(" At %.0f °C, where it has been, it would need %.1f mA.", t.HotC, t.HotBiasMA)
}

// impactOfLaser names the links that a laser feeds, and, when its driver is at
// the end, the loss of light that follows from that.
func (o *optics) impactOfLaser(v *alarms.Verdict, u *alarms.UnitView, p collector.Point, spent bool) {
	for i := range o.fibres {
		f := &o.fibres[i]
		if f.from.unit != u || p.Port != "" && f.from.port != p.Port {
			continue
		}
		v.Details.Impacted = addNew(v.Details.Impacted, linkResource(f.link.ID))
		if spent {
			v.Explains = addNew(v.Explains, pointKey(SignalDegraded, u, f.from.laser()))
			v.Explains = addNew(v.Explains, pointKey(Drift, u, f.from.laser()))
		}
	}
}
