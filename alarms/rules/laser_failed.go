package rules

import (
	"fmt"

	"lightwell/alarms"
	"lightwell/collector"
)

// laserFailed: a unit sends no light, by its own account; or far too little,
// and its driver can do nothing about it.
type laserFailed struct{}

// Type implements alarms.Rule.
func (laserFailed) Type() alarms.Type {
	return alarms.Type{
		ID: LaserFailed, Title: "Laser failed",
		Why:      "The unit sends no light, or far too little although its driver gives all it can, so every link that it feeds is down or failing in this direction until its laser works again or the unit is exchanged.",
		ClearsBy: "The laser on and its light measured again, in two polls in a row, once the far ends have seen it; light that was only weak, within 2.7 dB of its baseline or the driver off its limit.",
		Severity: alarms.Critical, Cause: alarms.Cause{Name: "transmitterFailure", Number: 67}, EventType: alarms.EquipmentAlarm,
		Raise: alarms.Damping{Polls: 2}, Clear: alarms.Damping{Polls: 2},
	}
}

var laserActions = []string{
	"See whether the laser was switched off on purpose.",
	"Confirm with a power meter at the transmit port.",
	"Exchange the laser module or the unit; bring an attenuator for the meter.",
}

// Judge implements alarms.Rule.
func (laserFailed) Judge(v *alarms.View) []alarms.Verdict {
	o := look(v)
	var out []alarms.Verdict
	for i := range o.fibres {
		f := &o.fibres[i]
		if o.firstOf(i, func(g *fibre) bool { return g.from == f.from }) {
			out = o.judgeLaser(f, out)
		}
	}
	return out
}

func (o *optics) judgeLaser(f *fibre, out []alarms.Verdict) []alarms.Verdict {
	key := f.from.laserKey()
	v := alarms.Verdict{Resource: key.Resource, Seen: f.sent.at}
	said, _ := state(f.from.unit, collector.Point{Quantity: collector.LaserState, Port: f.from.port})
	switch {
	case f.sent.light == unknown, o.warming(f.from.unit), said == collector.StateWarming:
		return out
	case f.sent.light == lit:
		if fallen, ok := o.spent(f); ok {
			return append(out, o.weakLaser(f, v, fallen))
		}
		if !o.laserSettling(f) {
			out = append(out, v)
		}
		return out
	}
	what := map[string]string{
		collector.StateFailed: "reports that its laser has failed", collector.StateOff: "reports that its laser is off",
	}[said]
	if what == "" {
		what = "sends no light"
	}
	v.Active, v.Direct = true, f.sent.direct
	v.Text = fmt.Sprintf("%s %s; what it feeds is dark. First see whether it was switched off on purpose, then measure at its transmit port.", named(f.from.unit.Unit), what)
	v.Details = alarms.Details{Actions: laserActions, Cautions: sourceCare, Unit: "dBm"}
	if f.from.laser().Quantity == collector.OpticalTransmitPower {
		if level, _, ok := measured(f.from.unit, f.from.laser()); ok {
			v.Details.Observed = number(level)
		}
		v.Explains = append(v.Explains, pointKey(SignalDegraded, f.from.unit, f.from.laser()))
	}
	for i := range o.fibres {
		if g := &o.fibres[i]; g.from == f.from {
			v.Details.Impacted = append(v.Details.Impacted, linkResource(g.link.ID))
			v.Explains = appendNew(v.Explains, g.consequences())
		}
	}
	return append(out, v)
}

// Shares of the driver's largest current: at its limit, and giving nothing.
const (
	driverSpent = 0.97
	driverIdle  = 0.02
)

// spent tells by how much a laser's light has fallen, where that is a failure:
// by half, with the driver at its limit or giving nothing. A driver that has
// something left would bring the light back.
func (o *optics) spent(f *fibre) (fallen float64, ok bool) {
	u, laser := f.from.unit, f.from.laser()
	dev, _, known := deviation(u, laser)
	limit := float64(lossMajorDB)
	if isActive(o.view, f.from.laserKey()) {
		limit -= lossBackDB
	}
	most := u.Unit.Equipment.Limits.BiasMaxMA
	if !known || laser.Quantity != collector.OpticalTransmitPower || -dev < limit || most == nil {
		return 0, false
	}
	p := collector.Point{Quantity: collector.LaserBias, Port: laser.Port}
	bias, _, measured := measured(u, p)
	return -dev, measured && (bias >= driverSpent**most || bias <= driverIdle**most)
}

// weakLaser judges a laser that is spent: the links may still serve.
func (o *optics) weakLaser(f *fibre, v alarms.Verdict, fallen float64) alarms.Verdict {
	u, laser := f.from.unit, f.from.laser()
	level, _, _ := measured(u, laser)
	bias := collector.Point{Quantity: collector.LaserBias, Port: laser.Port}
	current, _, _ := measured(u, bias)
	v.Active, v.Severity = true, alarms.Major
	v.Text = fmt.Sprintf("%s sends %.1f dB less light than at its baseline, and its driver cannot bring it back: it gives %.1f of %.0f mA at most. First measure at its transmit port, then exchange the laser module or the unit.",
		named(u.Unit), fallen, current, *u.Unit.Equipment.Limits.BiasMaxMA)
	v.Details = alarms.Details{Actions: laserActions[1:], Cautions: sourceCare, Observed: number(level), Threshold: number(u.Points[laser].Baseline.Value - lossMajorDB), Unit: "dBm"}
	v.Explains = append(v.Explains, pointKey(SignalDegraded, u, laser), pointKey(Drift, u, laser), pointKey(LaserAgeing, u, bias))
	for i := range o.fibres {
		if g := &o.fibres[i]; g.from == f.from {
			v.Details.Impacted = append(v.Details.Impacted, linkResource(g.link.ID))
			v.Explains = appendNew(v.Explains, g.weakness())
		}
	}
	return v
}

// laserSettling tells whether a far end has yet to see that the laser is back.
func (o *optics) laserSettling(f *fibre) bool {
	for i := range o.fibres {
		if g := &o.fibres[i]; g.from == f.from && isActive(o.view, f.from.laserKey()) && g.settling(o.view, f.sent.at) {
			return true
		}
	}
	return false
}
