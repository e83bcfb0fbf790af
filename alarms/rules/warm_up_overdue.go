package rules

import (
	"fmt"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// warmUp: a unit that started in the cold is still not warm when it should be.
// A unit that is warming up in its time is no alarm, and its laser is not
// judged meanwhile.
type warmUp struct{}

// Type implements alarms.Rule.
func (warmUp) Type() alarms.Type {
	return alarms.Type{
		ID: WarmUpOverdue, Title: "Warm-up overdue",
		Why:      "The unit has been started in the cold and has not become warm in the time its type allows: its heater may be dead, and the laser stays off or out of specification.",
		ClearsBy: "The case above the warm-up temperature and the laser no longer warming, in two polls in a row.",
		Severity: alarms.Major, Cause: alarms.Cause{Name: "heatingVentCoolingSystemProblem", Number: 519}, EventType: alarms.EnvironmentalAlarm,
		Raise: alarms.Damping{Polls: 2}, Clear: alarms.Damping{Polls: 2},
	}
}

var warmUpActions = []string{
	"Check the heater and its supply; see whether the enclosure is closed.",
	"Bring a spare unit or heater if it has happened before.",
}

// warmBackC is how far above the warm-up temperature a case must be to count
// as warm again.
const warmBackC = 1

// warmth is what is known of a unit's start in the cold.
type warmth struct {
	known   bool // enough is known to say anything
	cold    bool // the case is too cold, or the laser says that it is warming
	heating bool // the heater is on
	since   time.Duration
	caseC   *float64
	at      time.Time
}

// warmthOf looks at a unit. A unit whose model has no warm-up time never warms
// up; one whose start is unknown is not judged.
func (o *optics) warmthOf(u *alarms.UnitView) warmth {
	limits := u.Unit.Equipment.Limits
	if limits.WarmUpMax <= 0 || u.StartedAt.IsZero() || !u.Up() || o.isBlind(u) {
		return warmth{}
	}
	w := warmth{since: o.view.Now.Sub(u.StartedAt)}
	before := isActive(o.view, alarms.Key{Resource: unitResource(u.Unit.ID), Type: WarmUpOverdue})
	if c, at, ok := measured(u, collector.Point{Quantity: collector.Temperature}); ok && limits.WarmUpBelowC != nil {
		w.known, w.at, w.caseC = true, later(w.at, at), &c
		w.cold = c < *limits.WarmUpBelowC || before && c < *limits.WarmUpBelowC+warmBackC
	}
	for _, p := range u.Unit.Equipment.Points {
		switch p.Quantity {
		case collector.LaserState:
			if said, at := state(u, p); said != "" {
				w.known, w.at = true, later(w.at, at)
				w.cold = w.cold || said == collector.StateWarming
			}
		case collector.HeaterState:
			said, _ := state(u, p)
			w.heating = w.heating || said == collector.StateOn
		}
	}
	return w
}

// warming tells whether a unit is warming up within its time: then nobody
// judges its laser, nor the light at the far end.
func (o *optics) warming(u *alarms.UnitView) bool {
	w := o.warmthOf(u)
	return w.since <= u.Unit.Equipment.Limits.WarmUpMax && (w.cold || w.heating)
}

// Judge implements alarms.Rule.
func (warmUp) Judge(v *alarms.View) []alarms.Verdict {
	o := look(v)
	var out []alarms.Verdict
	for _, u := range v.Units {
		w := o.warmthOf(u)
		if !w.known {
			continue
		}
		verdict := alarms.Verdict{Resource: unitResource(u.Unit.ID), Seen: w.at}
		limits := u.Unit.Equipment.Limits
		switch {
		case w.cold && w.since <= limits.WarmUpMax:
			continue
		case w.cold:
			verdict.Active = true
			verdict.Text = fmt.Sprintf("%s has been started in the cold and is not warm after the %v it may take. First check its heater.", named(u.Unit), limits.WarmUpMax)
			verdict.Details = alarms.Details{Impacted: linksOf(v, u.Unit.ID), Actions: warmUpActions, Cautions: boxCare}
			if limits.WarmUpBelowC != nil && w.caseC != nil {
				verdict.Details.Observed, verdict.Details.Threshold, verdict.Details.Unit = number(*w.caseC), limits.WarmUpBelowC, "°C"
			}
			verdict.Explains = o.coldConsequences(u)
		}
		out = append(out, verdict)
	}
	return out
}

// coldConsequences returns what a unit that stays cold does to itself and to
// the units it feeds.
func (o *optics) coldConsequences(u *alarms.UnitView) []alarms.Key {
	var out []alarms.Key
	pointsOf(u, collector.Temperature, func(p collector.Point) { out = append(out, pointKey(TemperatureOutside, u, p)) })
	for i := range o.fibres {
		f := &o.fibres[i]
		if f.from.unit != u {
			continue
		}
		out = appendNew(out, []alarms.Key{f.from.laserKey(), pointKey(SignalDegraded, u, f.from.laser())})
		out = appendNew(out, f.consequences())
	}
	return out
}
