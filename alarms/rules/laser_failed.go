package rules

import (
	"fmt"

	"lightwell/alarms"
	"lightwell/collector"
)

// laserFailed: a unit sends no light, by its own account.
type laserFailed struct{}

// Type implements alarms.Rule.
func (laserFailed) Type() alarms.Type {
	return alarms.Type{
		ID: LaserFailed, Title: "Laser failed",
		Why:      "The unit sends no light, so every link that it feeds is down in this direction until its laser works again or the unit is exchanged.",
		ClearsBy: "The laser on and its light measured again, in two polls in a row, once the far ends have seen it.",
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

// laserSettling tells whether a far end has yet to see that the laser is back.
func (o *optics) laserSettling(f *fibre) bool {
	for i := range o.fibres {
		if g := &o.fibres[i]; g.from == f.from && isActive(o.view, f.from.laserKey()) && g.settling(o.view, f.sent.at) {
			return true
		}
	}
	return false
}
