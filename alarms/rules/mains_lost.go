package rules

import (
	"fmt"
	"slices"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// mainsLost: the units of a site have lost a supply together. Those with a
// second one go on, those without fall silent.
type mainsLost struct{}

// Type implements alarms.Rule.
func (mainsLost) Type() alarms.Type {
	return alarms.Type{
		ID: MainsLost, Title: "Mains lost",
		Why:      "The site runs on its second feed or on batteries, as far as it runs at all: what is left goes down when they are empty.",
		ClearsBy: "Supplies good again in two polls in a row, at all units or at part of them, once the alarms that followed have cleared or stand for themselves.",
		Severity: alarms.Major, Cause: alarms.Cause{Name: "commercialPowerFailure", Number: 106}, EventType: alarms.EnvironmentalAlarm,
		Raise: alarms.Damping{Polls: 2, For: 30 * time.Second}, Clear: alarms.Damping{Polls: 2},
	}
}

var mainsActions = []string{
	"Ask at the site whether there is power: then it is one feed, from its breaker to the units.",
	"Find out how long batteries and second feed last, and tell who runs the service.",
	"Have the utility or a licensed electrician restore the feed; a generator bridges the time.",
}

// power is how the units of a site are fed.
type power struct {
	lost, good             []*alarms.UnitView // redundant units with a supply gone, and with none gone
	silent                 []*alarms.UnitView // that are read directly and do not answer
	fed                    bool               // a unit read directly has power and reports no supply gone
	oldestLost, oldestGood time.Time
	newestGood             time.Time
	apart                  bool   // a unit had all its supplies between two polls that found another without
	carrier                string // supply that carries one of lost
}

func lookPower(v *alarms.View) power {
	var p power
	for _, u := range v.Units {
		switch {
		case silent(u) && u.Unit.Via == "":
			p.silent = append(p.silent, u)
			continue
		case !u.Up():
			continue
		}
		gone, at := p.read(u)
		switch {
		case gone:
			p.lost, p.oldestLost = append(p.lost, u), earlier(p.oldestLost, at)
		case !at.IsZero():
			p.good, p.oldestGood, p.newestGood = append(p.good, u), earlier(p.oldestGood, at), later(p.newestGood, at)
		}
		p.fed = p.fed || !gone && u.Unit.Via == ""
	}
	p.apart = slices.ContainsFunc(p.lost, func(l *alarms.UnitView) bool {
		_, found := p.read(l)
		return !l.SupplyGone.IsZero() && slices.ContainsFunc(p.good, func(g *alarms.UnitView) bool {
			_, had := p.read(g)
			return l.SupplyGone.Before(had) && had.Before(found)
		})
	})
	return p
}

// read tells whether a redundant unit reports a supply gone, and from when its
// oldest report is; zero: it reports none.
func (p *power) read(u *alarms.UnitView) (gone bool, at time.Time) {
	if !redundant(u) {
		return false, at
	}
	feeds := feedsOf(u)
	for _, f := range feeds {
		if f.said == "" {
			continue
		}
		at = earlier(at, f.at)
		gone = gone || f.lost()
		if other, ok := carrier(feeds, f.point.Port); f.lost() && ok && p.carrier == "" {
			p.carrier = pointResource(u, other.point)
		}
	}
	return gone, at
}

// partly tells that a unit was found with all its supplies after another was
// found without.
func (p *power) partly() bool { return len(p.lost) > 0 && !p.newestGood.Before(p.oldestLost) }

// togetherWithin is how far apart units may be found without a supply that
// lost it together: the longest period between polls.
const togetherWithin = time.Hour

// together tells that all that is known to have two supplies has lost one, and
// that this is more than one unit's own trouble.
func (p *power) together(v *alarms.View, raised bool) bool {
	return !p.partly() && !p.apart && (len(p.lost) >= 2 || len(p.lost) == 1 && len(p.silent) > 0 && !p.fed) &&
		(raised || v.Now.Sub(p.firstLoss(v)) <= togetherWithin)
}

// firstLoss returns since when the first of the supplies has been reported
// gone, as far as alarms tell, or one of the silent units that speak for it has
// been silent.
func (p *power) firstLoss(v *alarms.View) time.Time {
	first := v.Now
	if len(p.lost) == 1 {
		for _, u := range p.silent {
			first = earlier(first, u.FirstFailure)
		}
	}
	if v.Since == nil {
		return first
	}
	for _, u := range p.lost {
		for _, k := range supplyKeys(u) {
			if at := v.Since(k); !at.IsZero() {
				first = earlier(first, at)
			}
		}
	}
	return first
}

// Judge implements alarms.Rule.
func (mainsLost) Judge(v *alarms.View) []alarms.Verdict {
	p := lookPower(v)
	key := alarms.Key{Resource: siteResource(v.Site.ID), Type: MainsLost}
	empty := len(p.lost)+len(p.good) == 0 && len(p.silent) > 0 // the batteries too, by now
	raised := isActive(v, key)
	switch {
	case p.together(v, raised), empty && raised:
		return []alarms.Verdict{p.verdict(v, key)}
	case len(p.good) == 0, p.partly() && !p.apart && p.oldestLost.Before(p.oldestGood), p.settling(v):
		return nil
	}
	return []alarms.Verdict{{Resource: key.Resource, Seen: p.newestGood}}
}

// settling tells that a unit that has its power back still has the alarm that
// it had lost it.
func (p *power) settling(v *alarms.View) bool {
	return catchingUp(v) || slices.ContainsFunc(p.good, func(u *alarms.UnitView) bool {
		return slices.ContainsFunc(supplyKeys(u), func(k alarms.Key) bool { return isActive(v, k) })
	})
}

func (p *power) verdict(v *alarms.View, key alarms.Key) alarms.Verdict {
	out := alarms.Verdict{Resource: key.Resource, Active: true, Seen: p.oldestLost}
	out.Details = alarms.Details{Actions: mainsActions, Cautions: mainsCare}
	for _, u := range v.Units {
		out.Explains = append(append(out.Explains, unreachableKey(u)), supplyKeys(u)...)
	}
	out.Explains = append(out.Explains, alarms.Key{Resource: key.Resource, Type: UnitUnreachable}, alarms.Key{Resource: key.Resource, Type: SignalLost})
	for _, u := range p.silent {
		out.Details.Impacted = appendNew(out.Details.Impacted, linksOf(v, u.Unit.ID))
	}
	o := look(v)
	for i := range o.fibres {
		f := &o.fibres[i]
		out.Explains = append(append(out.Explains, f.consequences()...), f.from.laserKey(),
			alarms.Key{Resource: unitResource(f.from.unit.Unit.ID), Type: SignalLost}, alarms.Key{Resource: linkResource(f.link.ID), Type: SignalLost})
		if f.path.Cable != "" {
			out.Explains = append(out.Explains, alarms.Key{Resource: cableResource(f.path.Cable), Type: SignalLost})
		}
		if f.arrived.light == dark {
			out.Details.Impacted = addNew(out.Details.Impacted, linkResource(f.link.ID))
		}
	}
	out.Text = fmt.Sprintf("%s: its units have lost a supply together", siteName(v))
	switch {
	case len(out.Details.Impacted) > 0:
		out.Severity = alarms.Critical
		out.Text += ", and part of its links is down: the mains of the site, or one feed, is gone. First ask at the site whether there is power."
	default:
		out.Details.BackedUp, out.Details.BackupObject = p.carrier != "", p.carrier
		out.Text += " and run on the other one: the mains of the site, or one feed, is gone. First ask at the site whether there is power."
	}
	return out
}

// supplyKeys returns the keys of all alarms about the supplies of a unit.
func supplyKeys(u *alarms.UnitView) []alarms.Key {
	var out []alarms.Key
	pointsOf(u, collector.SupplyState, func(p collector.Point) {
		out = append(out, pointKey(SupplyRedundancy, u, p), pointKey(SupplyFailed, u, p))
	})
	pointsOf(u, collector.SupplyVoltage, func(p collector.Point) { out = append(out, pointKey(SupplyFailed, u, p)) })
	return out
}
