package rules

import (
	"fmt"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/collector"
)

// intermittent: light drops for moments, again and again.
type intermittent struct{}

// Type implements alarms.Rule.
func (intermittent) Type() alarms.Type {
	return alarms.Type{
		ID: Intermittent, Title: "Optical power comes and goes",
		Why:      "Light drops for moments, several times a day: a plug that is loose, a fibre that wind or a door moves, a laser about to give up. Levels look right in between; the users notice.",
		ClearsBy: "Seven days without a drop; a new accepted baseline.",
		Severity: alarms.Minor, Cause: alarms.Cause{Name: "degradedSignal", Number: 3}, EventType: alarms.CommunicationsAlarm,
		Raise: alarms.Damping{Polls: 2}, Clear: alarms.Damping{Polls: 2}, // days have damped it
	}
}

var loosePlugActions = []string{
	"Note when the drops come: with wind, sun, doors, lifts, work hours.",
	"At both ends see that each plug is home and its key aligned; touch, do not pull, while somebody reads the level.",
	"Look for fibres that can move: loops that hang, lids, hinges, ties that are too loose or too tight.",
	"Clean and re-seat; then read every poll for an hour.",
}

// Judge implements alarms.Rule.
func (intermittent) Judge(v *alarms.View) []alarms.Verdict {
	o := look(v)
	var out []alarms.Verdict
	o.eachTrend(func(u *alarms.UnitView, p collector.Point, t *drift.Trend, at time.Time) {
		verdict := o.trendVerdict(Intermittent, u, p, at)
		if !t.Intermittent {
			out = append(out, alarms.Verdict{Resource: verdict.Resource, Seen: at})
			return
		}
		first := "First see at both ends that each plug is home, its key aligned."
		if p.Quantity == collector.OpticalReceivePower {
			verdict.Details.Actions = loosePlugActions
		} else {
			first = firstAct(p)
		}
		verdict.Active = true
		verdict.Text = fmt.Sprintf("%s drops for moments by half a decibel or more, again and again since %s; in between it is right. %s",
			describe(u, p), t.Since.Format(time.DateOnly), first)
		out = append(out, verdict)
	})
	return out
}
