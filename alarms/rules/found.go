package rules

import (
	"fmt"
	"slices"
	"strings"

	"lightwell/alarms"
	"lightwell/collector"
)

// Causes of the diagnosis that the rules go by: those that levels and states
// alone would take for something else.
const (
	foundCrossed    = "pair-crossed"       // looks like a cut of the pair
	foundOpen       = "fibre-open"         // of both fibres of a link: looks like two faults
	foundRoofPower  = "outdoor-power-lost" // looks like a cut of the cable
	foundSlopeLost  = "slope-loss"         // stays below the limits of a level
	foundReflection = "reflection"         // moves no level at all
)

// foundAt returns the finding of a cause at a resource that is worth acting
// on: at least likely, or by far the best explanation.
func foundAt(v *alarms.View, cause, resource string) *alarms.Finding {
	for i := range v.Findings {
		if f := &v.Findings[i]; f.Cause == cause && f.Resource == resource && worthActing(f) {
			return f
		}
	}
	return nil
}

// sureShare is from which share of the likelihood on a finding stands alone.
const sureShare = 0.8

func worthActing(f *alarms.Finding) bool {
	return f.Wording != alarms.Possible || f.Probability >= sureShare
}

// foundFor returns the finding of one of the causes that explains alarms of a
// resource.
func foundFor(v *alarms.View, resource string, causes ...string) *alarms.Finding {
	for i := range v.Findings {
		if f := &v.Findings[i]; slices.Contains(causes, f.Cause) && slices.Contains(f.Resources, resource) && worthActing(f) {
			return f
		}
	}
	return nil
}

// judgeFound judges darkness whose cause the diagnosis knows better than the
// wiring alone tells: a pair that was crossed, a roof without power. One alarm
// stands for what follows from it.
func (o *optics) judgeFound(out []alarms.Verdict) []alarms.Verdict {
	for i := range o.fibres {
		f := &o.fibres[i]
		if same := func(g *fibre) bool { return g.link == f.link }; o.firstOf(i, same) {
			text := fmt.Sprintf("Link %s: both its receivers are dark since work there: its fibres are probably crossed. First swap the two plugs at one end.", f.link.ID)
			if foundAt(o.view, foundCrossed, linkResource(f.link.ID)) == nil && o.pairOpen(f) {
				text = fmt.Sprintf("Link %s: both its receivers are dark: the pair is probably broken or unplugged. First check its plugs at both ends.", f.link.ID)
				out = o.judgeAs(foundOpen, linkResource(f.link.ID), text, same, out)
				continue
			}
			out = o.judgeAs(foundCrossed, linkResource(f.link.ID), text, same, out)
		}
	}
	text := fmt.Sprintf("%s: no light comes from the roof and none of its units can be read: the roof has probably lost its power. First check breaker, feeder and surge protector.", siteName(o.view))
	return o.judgeAs(foundRoofPower, siteResource(o.view.Site.ID), text, fromRoof, out)
}

// pairOpen tells that the diagnosis finds both fibres of a link open, and both
// are seen to be dark.
func (o *optics) pairOpen(f *fibre) bool {
	found := foundAt(o.view, foundOpen, linkResource(f.link.ID))
	b := o.gather(func(g *fibre) bool { return g.link == f.link })
	return found != nil && found.Direction == "" && len(b.strands) == 2
}

func fromRoof(f *fibre) bool { return f.from.unit.Unit.Role == collector.Outdoor }

// judgeAs makes the verdict of a cause at a resource that stands for the
// fibres that belong to it.
func (o *optics) judgeAs(cause, resource, text string, belongs func(*fibre) bool, out []alarms.Verdict) []alarms.Verdict {
	key := alarms.Key{Resource: resource, Type: SignalLost}
	b := o.gather(belongs)
	switch found := foundAt(o.view, cause, resource); {
	case b.over(o.view):
		return append(out, alarms.Verdict{Resource: resource, Seen: b.newest})
	case found == nil || len(b.strands) == 0 || b.lit:
		return out // an alarm that is raised stays until light comes back
	default:
		v := b.verdict(resource, text)
		v.Direct = false
		v.Details.Actions, v.Details.Cautions = found.Actions, found.Cautions
		for _, f := range b.fibres {
			if f.path.Cable != "" {
				v.Explains = addNew(v.Explains, alarms.Key{Resource: cableResource(f.path.Cable), Type: SignalLost})
			}
			if u := f.from.unit; u.Unit.Role == collector.Outdoor && cause == foundRoofPower {
				v.Explains = addNew(addNew(v.Explains, unreachableKey(u)), alarms.Key{Resource: unitResource(u.Unit.ID), Type: SignalLost})
			}
		}
		v.Explains = without(v.Explains, key)
		return append(out, v)
	}
}

// otherCause tells that darkness in a cable is known to have another cause
// than a cut: the alarm of that cause stands for it.
func (o *optics) otherCause(b *bundle) bool {
	site := alarms.Key{Resource: siteResource(o.view.Site.ID), Type: SignalLost}
	if isActive(o.view, site) || foundAt(o.view, foundRoofPower, site.Resource) != nil && !o.gather(fromRoof).lit {
		return true // while some roof unit was not looked at since, the site has no verdict that would stand for the cable
	}
	for _, f := range b.fibres {
		link := alarms.Key{Resource: linkResource(f.link.ID), Type: SignalLost}
		if foundAt(o.view, foundCrossed, link.Resource) == nil && !o.pairOpen(f) && !isActive(o.view, link) {
			return false
		}
	}
	return len(b.fibres) > 0
}

// roofComesBack tells that a roof without power has it again, and that
// nothing was looked at of a bundle since.
func (o *optics) roofComesBack(b *bundle) bool {
	roof := o.gather(fromRoof)
	site := alarms.Key{Resource: siteResource(o.view.Site.ID), Type: SignalLost}
	return isActive(o.view, site) && roof.lit && !b.oldestDark.After(roof.oldestLit)
}

// roofLooked tells whether the light of all other roof units has been looked
// at since a cable was found dark. Until then it may be the roof that has no
// power, and the alarm takes the damped way.
func (o *optics) roofLooked(b *bundle) bool {
	if b.senderKnown {
		return true
	}
	for i := range o.fibres {
		f := &o.fibres[i]
		if f.from.unit.Unit.Role == collector.Outdoor && f.arrived.light == lit && f.arrived.at.Before(b.oldestDark) {
			return false
		}
	}
	return true
}

// lower begins a text as one does within a sentence.
func lower(text string) string { return strings.ToLower(text[:1]) + text[1:] }

// judgeQuiet judges what the diagnosis finds at an RF output or noise floor while
// its level is within limits.
func (o *optics) judgeQuiet(u *alarms.UnitView, p collector.Point, out []alarms.Verdict) []alarms.Verdict {
	_, at, ok := measured(u, p)
	if !ok || u.Points[p].Baseline == nil {
		return out
	}
	resource := pointResource(u, p)
	v := alarms.Verdict{Resource: resource, Seen: at}
	cause := foundSlopeLost
	if p.Quantity == collector.RFNoiseFloor {
		cause = foundReflection
	}
	f := foundFor(o.view, resource, cause)
	if f == nil {
		return append(out, v)
	}
	v.Active, v.Severity = true, alarms.Warning
	v.Text = fmt.Sprintf("%s has moved while light and antenna are as they were: %s at %s. First %s",
		describe(u, p), lower(f.Title), f.Place, lower(f.Actions[0]))
	v.Details = alarms.Details{Impacted: f.Links, Observed: number(u.Points[p].Reading.Value), Unit: "dBm", Actions: f.Actions, Cautions: f.Cautions}
	return append(out, v)
}
