package rules

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// unreachable: a unit cannot be read. All units of a site that are read at
// addresses of their own: the way to the site.
type unreachable struct{}

// Type implements alarms.Rule.
func (unreachable) Type() alarms.Type {
	return alarms.Type{
		ID: UnitUnreachable, Title: "Unit unreachable",
		Why:      "Nothing is known of the unit any more: it may be without power, or only its management path is down. Until somebody finds out, faults behind it stay unseen.",
		ClearsBy: "Answers in two polls in a row; for a site: of any of its units, once their own alarms have cleared or stand for themselves.",
		Severity: alarms.Major, Cause: alarms.Cause{Name: "communicationsSubsystemFailure", Number: 505}, EventType: alarms.CommunicationsAlarm,
		Raise: alarms.Damping{Polls: 2, For: 30 * time.Second}, Clear: alarms.Damping{Polls: 2},
	}
}

var (
	unitSilentActions = []string{
		"Ask at the site whether the service works: then only management is down.",
		"Check power of the unit, then its network port, switch and address.",
	}
	siteSilentActions = []string{
		"Reach the site's gateway; check switch, VLAN and uplink.",
		"Ask at the site whether there is power and whether the service works.",
	}
	blindActions = []string{
		"Check the fibre from the unit: its readings travel over it.",
		"Check the power of the unit.",
	}
)

// silent tells that a unit was asked and cannot be read. Refused credentials
// are an answer.
func silent(u *alarms.UnitView) bool {
	return u.Err != nil && !errors.Is(u.Err, collector.ErrRefused)
}

// mute tells that a unit's reader answered but had no value of it at all.
func mute(u *alarms.UnitView) bool {
	if !u.Up() || len(u.Points) == 0 {
		return false
	}
	for _, pv := range u.Points {
		if pv.Reading.Quality != collector.Unavailable {
			return false
		}
	}
	return true
}

// Judge implements alarms.Rule.
func (unreachable) Judge(v *alarms.View) []alarms.Verdict {
	var out []alarms.Verdict
	for _, u := range v.Units {
		if u.Polled.IsZero() {
			continue
		}
		verdict := judgeReach(v, u)
		if silent(u) && u.Unit.Via == "" {
			verdict.Explains = appendNew(verdict.Explains, look(v).darkness(u))
		}
		out = append(out, verdict)
	}
	return judgeSite(v, out)
}

// darkness returns the keys of what follows at the far ends that get no light
// from a silent unit, or less of it at a combiner: the unit is without power,
// and there is one cause.
func (o *optics) darkness(u *alarms.UnitView) []alarms.Key {
	var out []alarms.Key
	for i := range o.fibres {
		switch f := &o.fibres[i]; {
		case f.from.unit != u:
		case f.arrived.light == dark:
			out = appendNew(out, f.consequences())
		case f.shared:
			out = appendNew(out, f.weakness())
		}
	}
	return out
}

func unreachableKey(u *alarms.UnitView) alarms.Key {
	return alarms.Key{Resource: unitResource(u.Unit.ID), Type: UnitUnreachable}
}

func judgeReach(v *alarms.View, u *alarms.UnitView) alarms.Verdict {
	verdict := alarms.Verdict{Resource: unitResource(u.Unit.ID), Seen: u.Polled}
	switch {
	case silent(u):
		how := "cannot be asked"
		switch {
		case errors.Is(u.Err, collector.ErrNoAnswer):
			how = "does not answer"
		case errors.Is(u.Err, collector.ErrMalformed):
			how = "answers, but not to what it is asked"
		}
		verdict.Text = fmt.Sprintf("%s %s. First ask whether the service works; then check its power and its network.", named(u.Unit), how)
		verdict.Details = alarms.Details{Actions: unitSilentActions, Cautions: supplyCare(u)}
		verdict.Explains = readThrough(v, u, UnitUnreachable)
	case mute(u):
		reader := "its reader"
		if r := v.Unit(u.Unit.Via); r != nil {
			reader = named(r.Unit)
		}
		verdict.Severity = alarms.Minor
		verdict.Text = fmt.Sprintf("%s: %s answers but has no reading of it. First check the fibre and the power of the unit.", named(u.Unit), reader)
		verdict.Details = alarms.Details{Actions: blindActions, Cautions: sourceCare}
	default:
		return verdict
	}
	verdict.Active = true
	verdict.Details.Impacted = linksOf(v, u.Unit.ID)
	return verdict
}

// readThrough returns the keys that alarms of the given kinds have at the
// units that are read via u.
func readThrough(v *alarms.View, u *alarms.UnitView, kinds ...string) []alarms.Key {
	var out []alarms.Key
	for _, w := range v.Units {
		if w.Unit.Via == u.Unit.ID && w != u {
			for _, kind := range kinds {
				out = append(out, alarms.Key{Resource: unitResource(w.Unit.ID), Type: kind})
			}
		}
	}
	return out
}

// judgeSite says that the way to the site is down when all units that are read
// at an address of their own are silent, two at least.
func judgeSite(v *alarms.View, out []alarms.Verdict) []alarms.Verdict {
	own, down := 0, 0
	var lastDown, firstDown, firstUp time.Time
	for _, u := range v.Units {
		switch {
		case u.Unit.Via != "":
			continue
		case u.Polled.IsZero():
			return out
		case silent(u):
			down++
			firstDown, lastDown = earlier(firstDown, u.Polled), later(lastDown, u.Polled)
		default:
			firstUp = earlier(firstUp, u.Polled)
		}
		own++
	}
	if own < 2 {
		return out
	}
	verdict := alarms.Verdict{Resource: siteResource(v.Site.ID), Seen: firstUp}
	if down < own {
		if down > 0 && !firstDown.After(firstUp) || catchingUp(v) {
			return out
		}
		return append(out, verdict)
	}
	verdict.Active, verdict.Seen = true, firstDown
	verdict.Text = fmt.Sprintf("%s: none of the %d units that are read directly answers: probably the network or the power of the site. First reach its gateway.", siteName(v), own)
	verdict.Details = alarms.Details{Actions: siteSilentActions, Cautions: mainsCare}
	for _, u := range v.Units {
		verdict.Explains = append(verdict.Explains, unreachableKey(u))
	}
	for _, l := range v.Fleet.LinksAt(v.Site.ID) {
		verdict.Details.Impacted = append(verdict.Details.Impacted, linkResource(l.ID))
	}
	return append(out, verdict)
}

// catchingUp tells that a unit answers again whose alarm has yet to clear. A
// site alarm that cleared before would leave it standing alone.
func catchingUp(v *alarms.View) bool {
	return slices.ContainsFunc(v.Units, func(u *alarms.UnitView) bool { return u.Up() && !mute(u) && isActive(v, unreachableKey(u)) })
}
