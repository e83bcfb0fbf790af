package rules

import (
	"fmt"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// signalDegraded: light is there but weaker than at commissioning, below the
// receiver's limit, or too strong for it.
type signalDegraded struct{}

// Type implements alarms.Rule.
func (signalDegraded) Type() alarms.Type {
	return alarms.Type{
		ID: SignalDegraded, Title: "Optical signal degraded",
		Why:      "Light is being lost that was there at commissioning: a dirty or loose connector, a bend, a weak laser. One optical decibel costs two of RF, and what is left may not last.",
		ClearsBy: "The level back near its baseline and inside the receiver's limits, in three polls in a row; after a smaller step, the way back or fourteen days within 0.15 dB. A new accepted baseline sets a new reference.",
		Severity: alarms.Minor, Cause: alarms.Cause{Name: "degradedSignal", Number: 3}, EventType: alarms.CommunicationsAlarm,
		Raise: alarms.Damping{Polls: 3, For: 5 * time.Second}, Clear: alarms.Damping{Polls: 3},
	}
}

// Sizes of a loss, in optical decibels. A unit's own repeatability is 0.1 to
// 0.3 dB, so 1 dB from the baseline is three times that; 3 dB cost 6 of RF.
const (
	lossMinorDB = 1
	lossMajorDB = 3
	lossStepDB  = 0.5 // that came at once: what a mated pair may cost in all is 0.75 dB (TIA-568)
	lossBackDB  = 0.3 // least hysteresis
	limitBackDB = 0.5 // hysteresis at the limits of the receiver
)

var (
	weakActions = []string{
		"Inspect, clean and re-seat the connectors at both ends, keys aligned; read again after each.",
		"Walk the route: new work, trays, doors, tight ties, a squeezed cable.",
		"Compare with a power meter at the receiver's plug; an OTDR tells a bend from a joint at two wavelengths.",
	}
	weakLaserActions = []string{
		"Compare with a power meter at the transmit port.",
		"Check bias current and case temperature against their baselines.",
		"Plan to exchange the laser module or the unit.",
	}
	strongActions = []string{
		"Compare with a power meter at the receiver's plug.",
		"Fit the attenuator that the link budget asks for.",
	}
)

// Judge implements alarms.Rule.
func (signalDegraded) Judge(v *alarms.View) []alarms.Verdict {
	o := look(v)
	var out []alarms.Verdict
	for _, u := range v.Units {
		if !u.Up() || o.isBlind(u) {
			continue
		}
		for _, p := range u.Unit.Equipment.Points {
			if p.Quantity == collector.OpticalReceivePower || p.Quantity == collector.OpticalTransmitPower {
				out = o.judgeLevel(u, p, out)
			}
		}
	}
	return o.judgeCommonLoss(out)
}

func (o *optics) judgeLevel(u *alarms.UnitView, p collector.Point, out []alarms.Verdict) []alarms.Verdict {
	level, at, ok := measured(u, p)
	receive := p.Quantity == collector.OpticalReceivePower
	if !ok || level <= baseline.NoLightDBm || !receive && o.warming(u) || receive && o.feedWarming(u, p) {
		return out
	}
	key := pointKey(SignalDegraded, u, p)
	v := alarms.Verdict{Resource: key.Resource, Seen: at}
	find := o.weigh(u, p, key, level)
	if find.severity == 0 {
		if find.judged {
			out = append(out, v)
		}
		return out
	}
	v.Active, v.Severity, v.Text = true, find.severity, find.text
	v.Steady = !find.strong && stepped(u.Points[p].Trend) > 0 // about the lesser threshold either of two texts may hold
	v.Details = alarms.Details{Actions: weakActions, Cautions: pathCare, Observed: number(level), Threshold: number(find.threshold), Unit: "dBm"}
	switch {
	case !receive:
		v.Details.Actions, v.Details.Cautions = weakLaserActions, sourceCare
	case find.strong:
		v.Details.Actions = strongActions
	}
	if !find.strong && isActive(o.view, key) { // not before: on the way down each poll may say something else
		v.Explains = append(v.Explains, pointKey(Drift, u, p)) // what was slow is large now
	}
	for i := range o.fibres {
		f := &o.fibres[i]
		switch {
		case receive && f.to == (end{u, p.Port}):
			v.Details.Impacted = append(v.Details.Impacted, linkResource(f.link.ID))
			v.Explains = appendNew(v.Explains, without(f.weakness(), key))
		case !receive && f.from == (end{u, p.Port}):
			v.Details.Impacted = append(v.Details.Impacted, linkResource(f.link.ID))
			if explainsFar(u, p, f) {
				v.Explains = appendNew(v.Explains, f.weakness())
			}
		}
	}
	o.weighMargins(&v)
	return append(out, v)
}

// finding is what weigh says; severity 0 is a level as it should be.
type finding struct {
	judged    bool // there was something to compare with
	severity  alarms.Severity
	text      string
	threshold float64
	strong    bool
}

// weigh compares a level with its baseline and with the limits of the
// receiver.
func (o *optics) weigh(u *alarms.UnitView, p collector.Point, key alarms.Key, level float64) finding {
	var limits collector.Limits
	if p.Quantity == collector.OpticalReceivePower && o.inUse(u, p) {
		limits = u.Unit.Equipment.Limits
	}
	dev, _, compared := deviation(u, p)
	low, high := limits.ReceivePowerMinDBm, limits.ReceivePowerMaxDBm
	wasMajor := lastSeverity(o.view, key) >= alarms.Major
	switch {
	case compared:
		if severity, lost := weak(u.Points[p].Baseline, -dev, level, low, wasMajor, isActive(o.view, key)); severity != 0 {
			return weakFinding(u, p, severity, lost, low)
		}
		if lost := stepped(u.Points[p].Trend); lost > 0 {
			return stepFinding(u, p, lost)
		}
	case low != nil && (level < *low || wasMajor && level < *low+limitBackDB):
		text := fmt.Sprintf("%s is below the %.1f dBm that the receiver needs. First clean and re-seat the connectors at both ends.", describe(u, p), *low)
		return finding{true, alarms.Major, text, *low, false}
	}
	if high != nil && (level > *high || isActive(o.view, key) && level > *high-limitBackDB) {
		text := fmt.Sprintf("%s is above the %.1f dBm that the receiver bears. First check that the attenuator of the link is in place.", describe(u, p), *high)
		return finding{true, alarms.Minor, text, *high, true}
	}
	return finding{judged: compared || low != nil || high != nil}
}

// weak judges a loss against the baseline. A major loss is one that is large,
// or that takes the level below what the receiver needs, whichever is less.
// lost is the threshold that was passed: it follows from severity, baseline
// and limit alone, so that noise does not change the text.
func weak(ref *baseline.Level, loss, level float64, low *float64, wasMajor, active bool) (severity alarms.Severity, lost float64) {
	minor := noiseBand(lossMinorDB, lossBackDB, ref.Spread)
	major := minor.shift(lossMajorDB)
	lost = major.raise
	tooWeak := false
	if low != nil {
		tooWeak = level < *low || wasMajor && level < *low+limitBackDB
		lost = min(lost, ref.Value-*low)
	}
	switch {
	case tooWeak || major.beyond(loss, wasMajor):
		return alarms.Major, lost
	case minor.beyond(loss, active):
		return alarms.Minor, minor.raise
	}
	return 0, 0
}

// stepFinding is a loss too small for the levels that came at once and has
// stayed for hours: hours tell what a poll cannot.
func stepFinding(u *alarms.UnitView, p collector.Point, lost float64) finding {
	t := u.Points[p].Trend
	severity := alarms.Warning
	if lost >= lossStepDB {
		severity = alarms.Minor
	}
	text := fmt.Sprintf("%s lost %.2f dB at once on %s and has stayed there; its noise does not explain it. Ask who was near the fibre then. %s",
		describe(u, p), lost, t.Since.Format(time.DateOnly), firstAct(p))
	return finding{true, severity, text, t.Baseline - lost, false}
}

func weakFinding(u *alarms.UnitView, p collector.Point, severity alarms.Severity, lost float64, low *float64) finding {
	ref := u.Points[p].Baseline
	needs, first := "", "clean and re-seat the connectors at both ends"
	if low != nil {
		needs = fmt.Sprintf("; the receiver needs %.1f dBm", *low)
	}
	if p.Quantity == collector.OpticalTransmitPower {
		first = "compare with a power meter at the transmit port"
	}
	text := fmt.Sprintf("%s has lost more than %.1f dB since its baseline of %.1f dBm (%s)%s. First %s.",
		describe(u, p), lost, ref.Value, ref.CapturedAt.UTC().Format(time.DateOnly), needs, first)
	return finding{true, severity, text, ref.Value - lost, false}
}

// judgeCommonLoss finds losses with one cause: in both fibres of a link, or in
// all of a cable.
func (o *optics) judgeCommonLoss(out []alarms.Verdict) []alarms.Verdict {
	for i := range o.fibres {
		f := &o.fibres[i]
		inLink := func(g *fibre) bool { return g.link == f.link }
		inCable := func(g *fibre) bool { return g.path.Cable == f.path.Cable }
		if o.firstOf(i, inLink) {
			text := fmt.Sprintf("Link %s: both its fibres have lost light since their baselines. First look at closures, bends and tight ties along the route of the pair.", f.link.ID)
			out = o.commonLoss(linkResource(f.link.ID), text, inLink, out)
		}
		if f.path.Cable != "" && o.firstOf(i, inCable) {
			text := fmt.Sprintf("Cable %s: all its fibres that can be read have lost light since their baselines. First ask for work along its route, then walk it.", f.path.Cable)
			out = o.commonLoss(cableResource(f.path.Cable), text, inCable, out)
		}
	}
	return out
}

// commonLoss judges fibres that could share a cause: active when two or more
// are weak and none that can be read is sound. Fibres that meet in a combiner
// follow, but say nothing, nor do those whose own transmitter is weak.
func (o *optics) commonLoss(resource, text string, belongs func(*fibre) bool, out []alarms.Verdict) []alarms.Verdict {
	v := alarms.Verdict{Resource: resource, Text: text}
	weak, sound, worst := 0, 0, 0.0
	var newest, oldest time.Time
	for i := range o.fibres {
		f := &o.fibres[i]
		if !belongs(f) {
			continue
		}
		if f.shared {
			v.Explains = appendNew(v.Explains, f.weakness())
		}
		p := f.to.receiver()
		level, at, ok := measured(f.to.unit, p)
		sent, _, known := deviation(f.from.unit, f.from.laser())
		if f.shared || f.arrived.light != lit || !ok || p.Quantity != collector.OpticalReceivePower || known && sent <= -lossMinorDB || o.warming(f.from.unit) {
			continue
		}
		newest, oldest = later(newest, at), earlier(oldest, at)
		find := o.weigh(f.to.unit, p, pointKey(SignalDegraded, f.to.unit, p), level)
		if find.severity == 0 || find.strong {
			sound++
			continue
		}
		weak++
		v.Severity = max(v.Severity, find.severity)
		if dev, _, ok := deviation(f.to.unit, p); ok {
			worst = max(worst, -dev)
		}
		v.Details.Impacted = addNew(v.Details.Impacted, linkResource(f.link.ID))
		v.Explains = appendNew(v.Explains, f.weakness())
		v.Explains = addNew(v.Explains, alarms.Key{Resource: linkResource(f.link.ID), Type: SignalDegraded})
	}
	switch {
	case sound > 0:
		return append(out, alarms.Verdict{Resource: resource, Seen: newest})
	case weak < 2:
		return out
	}
	v.Active, v.Seen = true, oldest
	o.weighMargins(&v)
	v.Explains = without(v.Explains, alarms.Key{Resource: resource, Type: SignalDegraded})
	v.Details.Actions, v.Details.Cautions, v.Details.Observed, v.Details.Unit = weakActions, pathCare, number(worst), "dB"
	return append(out, v)
}

// describe names a point for people: "Roof unit: optical receive power 2".
func describe(u *alarms.UnitView, p collector.Point) string {
	info, _ := p.Quantity.Info()
	if p.Port == "" {
		return named(u.Unit) + ": " + info.Title
	}
	return named(u.Unit) + ": " + info.Title + " " + p.Port
}

// inUse tells whether a fibre ends at a receiver.
func (o *optics) inUse(u *alarms.UnitView, p collector.Point) bool {
	for i := range o.fibres {
		if o.fibres[i].to == (end{u, p.Port}) {
			return true
		}
	}
	return false
}

// feedWarming tells whether a laser that feeds a receiver is warming up.
func (o *optics) feedWarming(u *alarms.UnitView, p collector.Point) bool {
	for i := range o.fibres {
		if f := &o.fibres[i]; f.to == (end{u, p.Port}) && o.warming(f.from.unit) {
			return true
		}
	}
	return false
}

// explainsFar tells whether a weak transmitter accounts for what the far end
// misses: all but a decibel of it.
func explainsFar(u *alarms.UnitView, p collector.Point, f *fibre) bool {
	sent, _, ok := deviation(u, p)
	got, _, known := deviation(f.to.unit, f.to.receiver())
	return !ok || !known || got > sent-lossMinorDB
}

// without returns keys less one.
func without(keys []alarms.Key, key alarms.Key) []alarms.Key {
	var out []alarms.Key
	for _, k := range keys {
		if k != key {
			out = append(out, k)
		}
	}
	return out
}
