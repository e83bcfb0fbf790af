package rules

import (
	"errors"
	"fmt"

	"lightwell/alarms"
	"lightwell/collector"
)

// refused: a unit answers that it does not accept our credentials.
type refused struct{}

// Type implements alarms.Rule.
func (refused) Type() alarms.Type {
	return alarms.Type{
		ID: CredentialsRefused, Title: "Credentials refused",
		Why:      "The unit answers but does not accept the user, password or community in the configuration, so nothing is known of it until the two agree again.",
		ClearsBy: "A poll that is answered with readings, twice in a row.",
		Severity: alarms.Major, Cause: alarms.Cause{Name: "authenticationFailure", Number: 600}, EventType: alarms.SecurityAlarm,
		Raise: alarms.Damping{Polls: 2}, Clear: alarms.Damping{Polls: 2},
	}
}

var refusedActions = []string{
	"Compare user, security level and passwords of the unit with the configuration; the read command tells more.",
	"See whether the unit has been exchanged or reset, or its passwords changed.",
}

// Judge implements alarms.Rule.
func (refused) Judge(v *alarms.View) []alarms.Verdict {
	var out []alarms.Verdict
	for _, u := range v.Units {
		verdict := alarms.Verdict{Resource: unitResource(u.Unit.ID), Seen: u.Polled}
		switch {
		case errors.Is(u.Err, collector.ErrRefused):
			verdict.Active = true
			verdict.Text = fmt.Sprintf("%s refuses the credentials %q. First compare them with those set in the unit.", named(u.Unit), u.Unit.Credentials)
			verdict.Details.Actions = refusedActions
			verdict.Explains = readThrough(v, u, CredentialsRefused, UnitUnreachable)
		case !u.Up():
			continue
		}
		out = append(out, verdict)
	}
	return out
}
