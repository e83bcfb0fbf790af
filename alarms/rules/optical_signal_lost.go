package rules

import (
	"fmt"
	"slices"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// signalLost: no light at a receiver. Several dark fibres with one cause are
// one alarm at the cable, or at the unit that feeds them.
type signalLost struct{}

// Type implements alarms.Rule.
func (signalLost) Type() alarms.Type {
	return alarms.Type{
		ID: SignalLost, Title: "Optical signal lost",
		Why:      "No light arrives, so the service over this fibre is down until somebody finds the break, the open connector or the dead transmitter.",
		ClearsBy: "Light at the receiver again, in two polls in a row; for a cable: in one of its fibres, once the alarms of the others have cleared or stand for a fault of their own.",
		Severity: alarms.Critical, Cause: alarms.Cause{Name: "lossOfSignal", Number: 8}, EventType: alarms.CommunicationsAlarm,
		Raise: alarms.Damping{Polls: 2}, Clear: alarms.Damping{Polls: 2},
	}
}

var (
	lostActions = []string{
		"Check that both plugs of the fibre are in and undamaged.",
		"Look for the break with a visual fault locator, then with an OTDR for its distance.",
		"Measure the light at the receiver's plug; with light there, exchange the receiver.",
	}
	cableActions = []string{
		"Ask at the site for building, roof or route work since the time of the alarm.",
		"Take an OTDR trace of one strand from the rack: it gives the distance to the cut.",
		"Bring a splicer, a closure and spare cable.",
	}
	sourceActions = []string{
		"Check breaker, feeder supply and surge protector of the unit.",
		"With power there, measure the light at its transmit port.",
		"Follow the fibres from the unit to where they part.",
	}
)

// Judge implements alarms.Rule.
func (signalLost) Judge(v *alarms.View) []alarms.Verdict {
	o := look(v)
	var out []alarms.Verdict
	for i := range o.fibres {
		if o.firstAt(i) {
			out = o.judgeReceiver(&o.fibres[i], out)
		}
	}
	out = o.judgeFound(out)
	for i := range o.fibres {
		if f := &o.fibres[i]; f.path.Cable != "" && o.firstOf(i, func(g *fibre) bool { return g.path.Cable == f.path.Cable }) {
			out = o.judgeCable(f.path.Cable, out)
		}
		if f := &o.fibres[i]; o.feedsSeveral(i) {
			out = o.judgeSource(f.from.unit, out)
		}
	}
	return out
}

// firstOf tells whether no fibre before the i-th is like it.
func (o *optics) firstOf(i int, like func(*fibre) bool) bool {
	for j := range i {
		if like(&o.fibres[j]) {
			return false
		}
	}
	return true
}

// feedsSeveral tells whether the i-th fibre is the first of several that come
// from its unit.
func (o *optics) feedsSeveral(i int) bool {
	from, n := o.fibres[i].from.unit, 0
	for j := range o.fibres {
		if o.fibres[j].from.unit == from {
			if n++; n == 1 && j < i {
				return false
			}
		}
	}
	return n >= 2
}

// firstAt tells whether the i-th fibre is the first that ends at its receiver.
func (o *optics) firstAt(i int) bool {
	return o.firstOf(i, func(g *fibre) bool { return g.to == o.fibres[i].to })
}

func (o *optics) judgeReceiver(f *fibre, out []alarms.Verdict) []alarms.Verdict {
	key := f.to.lostKey()
	v := alarms.Verdict{Resource: key.Resource, Seen: f.arrived.at}
	switch {
	case f.arrived.light == lit:
		return append(out, v)
	case f.arrived.light == unknown, o.expectedDark(f.to), o.mayBeDip(f):
		return out
	}
	v.Active, v.Direct = true, f.arrived.direct && o.othersLooked(f)
	where := fmt.Sprintf("the %s of link %s", f.name, f.link.ID)
	if f.shared {
		where = fmt.Sprintf("any %s that ends there", f.name)
	} else if f.path.Cable != "" {
		where += fmt.Sprintf(" (cable %s, strand %d)", f.path.Cable, f.path.Strand)
	}
	was := ""
	if b := f.to.unit.Points[f.to.receiver()].Baseline; b != nil {
		was = fmt.Sprintf("; it was %.1f dBm at the baseline of %s", b.Value, b.CapturedAt.UTC().Format(time.DateOnly))
	}
	v.Text = fmt.Sprintf("%s: no light from %s%s. First check that the fibre is plugged in at both ends.", named(f.to.unit.Unit), where, was)
	v.Details = alarms.Details{Actions: lostActions, Cautions: pathCare, Unit: "dBm"}
	if level, _, ok := measured(f.to.unit, f.to.receiver()); ok && f.to.receiver().Quantity == collector.OpticalReceivePower {
		v.Details.Observed = number(level)
	}
	for i := range o.fibres {
		if g := &o.fibres[i]; g.to == f.to {
			v.Details.Impacted = append(v.Details.Impacted, linkResource(g.link.ID))
			v.Explains = appendNew(v.Explains, without(g.consequences(), key))
		}
	}
	return append(out, v)
}

// expectedDark tells that every laser that feeds the receiver is still warming
// up.
func (o *optics) expectedDark(to end) bool {
	for i := range o.fibres {
		if f := &o.fibres[i]; f.to == to && !o.warming(f.from.unit) {
			return false
		}
	}
	return true
}

// dipTime is how long a site is given to come back from a mains dip: the dip
// itself and the start of the units.
const dipTime = 90 * time.Second

// mayBeDip tells that units of the site have fallen silent or started anew so
// recently that the mains may just have dipped. Darkness from a laser of which
// nothing is known is not judged meanwhile: a dip that ends is no alarm.
func (o *optics) mayBeDip(f *fibre) bool {
	if f.sent.light != unknown {
		return false
	}
	return slices.ContainsFunc(o.view.Units, func(u *alarms.UnitView) bool {
		since := u.StartedAt
		if silent(u) {
			since = u.FirstFailure
		}
		return u.Unit.Via == "" && !since.IsZero() && o.view.Now.Sub(since) < dipTime
	})
}

// othersLooked tells whether all that shares a cable or a laser with a fibre
// has been looked at since it was found dark. Only then is it known whether
// the fibre is the cause or one of many consequences; until then the alarm
// takes the damped way.
func (o *optics) othersLooked(f *fibre) bool {
	older := func(e end, s seen) bool {
		return e.unit.Polled.IsZero() || s.light == lit && s.at.Before(f.arrived.at)
	}
	for i := range o.fibres {
		g := &o.fibres[i]
		if g.to == f.to {
			if older(g.from, g.sent) {
				return false
			}
			continue
		}
		if (g.path.Cable == f.path.Cable && f.path.Cable != "" || g.from.unit == f.from.unit) && older(g.to, g.arrived) {
			return false
		}
	}
	return true
}

// bundle is what is known of fibres that could share a cause.
type bundle struct {
	fibres      []*fibre           // those whose laser is not known to be off
	strands     []strand           // dark ones
	receivers   []*alarms.UnitView // that see darkness
	senders     []*alarms.UnitView // of dark fibres
	lit         bool
	direct      bool
	newest      time.Time // newest evidence
	oldestDark  time.Time
	oldestLit   time.Time
	senderKnown bool // one of the dark fibres' lasers is known to give light
	noDip       bool // the darkness of one of them cannot be that of a mains dip
}

type strand struct {
	cable  string
	number int
}

// gather sums up the fibres that belong to the bundle.
func (o *optics) gather(belongs func(*fibre) bool) bundle {
	var b bundle
	for i := range o.fibres {
		f := &o.fibres[i]
		if !belongs(f) || f.sent.light == dark || o.warming(f.from.unit) {
			continue
		}
		b.fibres = append(b.fibres, f)
		switch {
		case f.arrived.light == dark:
			b.strands = addNew(b.strands, strand{f.path.Cable, f.path.Strand})
			b.receivers, b.senders = addNew(b.receivers, f.to.unit), addNew(b.senders, f.from.unit)
			b.direct = b.direct || f.arrived.direct
			b.senderKnown = b.senderKnown || f.sent.light == lit
			b.noDip = b.noDip || !o.mayBeDip(f)
			b.oldestDark = earlier(b.oldestDark, f.arrived.at)
			b.newest = later(b.newest, f.arrived.at)
		case f.arrived.light == lit && o.allEnd(f, belongs):
			b.lit = true
			b.oldestLit = earlier(b.oldestLit, f.arrived.at)
			b.newest = later(b.newest, f.arrived.at)
		}
	}
	return b
}

// allEnd tells whether every fibre that ends at f's receiver is in the bundle:
// else light there may have come by another one.
func (o *optics) allEnd(f *fibre, belongs func(*fibre) bool) bool {
	for i := range o.fibres {
		if g := &o.fibres[i]; g.to == f.to && !belongs(g) {
			return false
		}
	}
	return true
}

// cut tells that two strands or more are dark and none is lit.
func (b *bundle) cut() bool { return len(b.strands) >= 2 && !b.lit }

// starved tells that two receivers or more are dark and none is lit.
func (b *bundle) starved() bool { return len(b.receivers) >= 2 && !b.lit }

// over tells that light is back for certain: no finding of darkness is left
// from before it, and the alarms at the receivers have cleared.
func (b *bundle) over(v *alarms.View) bool {
	if !b.lit || len(b.strands) > 0 && !b.oldestDark.After(b.oldestLit) {
		return false
	}
	for _, f := range b.fibres {
		if f.settling(v, b.oldestLit) {
			return false
		}
	}
	return true
}

// verdict makes the verdict of a bundle that is dark.
func (b *bundle) verdict(resource, text string) alarms.Verdict {
	v := alarms.Verdict{Resource: resource, Active: true, Text: text, Seen: b.newest, Direct: b.direct || len(b.receivers) >= 2}
	for _, f := range b.fibres {
		v.Details.Impacted = addNew(v.Details.Impacted, linkResource(f.link.ID))
		v.Explains = appendNew(v.Explains, f.consequences())
	}
	return v
}

func (o *optics) judgeCable(cable string, out []alarms.Verdict) []alarms.Verdict {
	b := o.gather(func(f *fibre) bool { return f.path.Cable == cable })
	switch {
	case b.over(o.view):
		return append(out, alarms.Verdict{Resource: cableResource(cable), Seen: b.newest})
	case !b.cut(), !b.noDip, o.fromOneSource(&b), o.otherCause(&b):
		return out
	}
	cause := "the cable is probably cut"
	switch {
	case b.senderKnown:
	case len(b.senders) == 1:
		cause = fmt.Sprintf("the cable is probably cut, or %s, from which all of it comes, has no power", named(b.senders[0].Unit))
	default:
		cause = "the cable is probably cut, or what it comes from has no power"
	}
	v := b.verdict(cableResource(cable), "")
	v.Text = fmt.Sprintf("Cable %s: all light through it is gone, %d of its links are down: %s. First ask for work along its route.", cable, len(v.Details.Impacted), cause)
	v.Direct = v.Direct && o.roofLooked(&b)
	v.Details.Actions, v.Details.Cautions = cableActions, pathCare
	return append(out, v)
}

// fromOneSource tells that the dark fibres of a cable are better explained by
// the one unit that feeds them, see judgeSource.
func (o *optics) fromOneSource(b *bundle) bool {
	if len(b.senders) != 1 {
		return false
	}
	s := o.source(b.senders[0])
	return s.starved() && o.isSource(&s)
}

func (o *optics) source(u *alarms.UnitView) bundle {
	return o.gather(func(f *fibre) bool { return f.from.unit == u })
}

// isSource tells that no cable explains the darkness of all that a unit feeds:
// it goes through several, or through one strand, or its cable has light from
// elsewhere. While a cable that was cut comes back, part of it is lit first:
// that says nothing of a unit whose far ends have not been read since.
func (o *optics) isSource(b *bundle) bool {
	if b.senderKnown {
		return false
	}
	first := b.fibres[0].path.Cable
	for _, f := range b.fibres {
		if f.path.Cable != first {
			return true
		}
	}
	whole := o.gather(func(f *fibre) bool { return f.path.Cable == first })
	comingBack := isActive(o.view, alarms.Key{Resource: cableResource(first), Type: SignalLost}) && !b.oldestDark.After(whole.oldestLit)
	return first == "" || !whole.cut() && !comingBack
}

func (o *optics) judgeSource(u *alarms.UnitView, out []alarms.Verdict) []alarms.Verdict {
	b := o.source(u)
	resource := unitResource(u.Unit.ID)
	switch {
	case b.over(o.view):
		return append(out, alarms.Verdict{Resource: resource, Seen: b.newest})
	case !b.starved(), !b.noDip, !o.isSource(&b), o.roofComesBack(&b):
		return out
	}
	v := b.verdict(resource, fmt.Sprintf("%s: none of the units it feeds gets light from it: it has probably lost power, or its laser has failed. First check its supply.", named(u.Unit)))
	v.Direct = v.Direct && !slices.ContainsFunc(b.fibres, func(f *fibre) bool { return !o.othersLooked(f) })
	v.Details.Actions, v.Details.Cautions = sourceActions, sourceCare
	return append(out, v)
}

func earlier(a, b time.Time) time.Time {
	if a.IsZero() || b.Before(a) {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

// addNew appends v if it is not there yet.
func addNew[T comparable](to []T, v T) []T {
	if slices.Contains(to, v) {
		return to
	}
	return append(to, v)
}

// appendNew appends what is not there yet.
func appendNew[T comparable](to, add []T) []T {
	for _, v := range add {
		to = addNew(to, v)
	}
	return to
}
