package rules

import (
	"fmt"
	"time"

	"lightwell/alarms"
)

// baselineMissing: a unit is polled but nobody has accepted a baseline.
type baselineMissing struct{}

// commissioningTime is how long a unit may be polled without a baseline: the
// visit and the night after it.
const commissioningTime = 24 * time.Hour

// Type implements alarms.Rule.
func (baselineMissing) Type() alarms.Type {
	return alarms.Type{
		ID: BaselineMissing, Title: "Baseline missing",
		Why:      "Without an accepted baseline no reading of the unit is compared, so a loss of light or level would stay unseen until somebody commissions it.",
		ClearsBy: "An accepted baseline.",
		Severity: alarms.Warning, Cause: alarms.Cause{Name: "configurationOrCustomizationError", Number: 506}, EventType: alarms.ProcessingErrorAlarm,
		Raise: alarms.Damping{Polls: 2, For: commissioningTime},
	}
}

var commissionActions = []string{
	"See that the unit is in the state in which it is to be kept.",
	"Begin a capture of its baseline, look at it, accept it.",
}

// Judge implements alarms.Rule.
func (baselineMissing) Judge(v *alarms.View) []alarms.Verdict {
	var out []alarms.Verdict
	for _, u := range v.Units {
		switch {
		case u.Baselined:
			out = append(out, alarms.Verdict{Resource: unitResource(u.Unit.ID), Seen: u.Polled})
		case u.Up() && compares(u):
			out = append(out, alarms.Verdict{
				Resource: unitResource(u.Unit.ID), Seen: u.Polled, Active: true,
				Text:    fmt.Sprintf("%s is polled but has no accepted baseline. First commission it.", named(u.Unit)),
				Details: alarms.Details{Actions: commissionActions},
			})
		}
	}
	return out
}

// compares tells whether the unit has a point that is compared at all.
func compares(u *alarms.UnitView) bool {
	for _, p := range u.Unit.Equipment.Points {
		if info, ok := p.Quantity.Info(); ok && info.Compared {
			return true
		}
	}
	return false
}
