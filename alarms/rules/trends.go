package rules

import (
	"time"

	"lightwell/alarms"
	"lightwell/alarms/drift"
	"lightwell/collector"
)

// eachTrend calls fn with every optical power whose slow change is known,
// while its unit can be read and has an accepted baseline.
func (o *optics) eachTrend(fn func(u *alarms.UnitView, p collector.Point, t *drift.Trend, at time.Time)) {
	for _, u := range o.view.Units {
		if !u.Up() || !u.Baselined || o.isBlind(u) {
			continue
		}
		for _, p := range u.Unit.Equipment.Points {
			if t := u.Points[p].Trend; t != nil {
				if _, at, ok := measured(u, p); ok {
					fn(u, p, t, at)
				}
			}
		}
	}
}

// trendVerdict is what all verdicts on a trend of a point share. Readings have
// been damped over hours or days already.
func (o *optics) trendVerdict(kind string, u *alarms.UnitView, p collector.Point, at time.Time) alarms.Verdict {
	v := alarms.Verdict{Resource: pointResource(u, p), Seen: at, Steady: true}
	if p.Quantity == collector.OpticalReceivePower {
		v.Details.Actions, v.Details.Cautions = weakActions, pathCare
	} else {
		v.Details.Actions, v.Details.Cautions = weakLaserActions, sourceCare
	}
	for i := range o.fibres {
		f := &o.fibres[i]
		switch {
		case f.to == (end{u, p.Port}) && p.Quantity == collector.OpticalReceivePower:
			v.Details.Impacted = addNew(v.Details.Impacted, linkResource(f.link.ID))
		case f.from == (end{u, p.Port}) && p.Quantity == collector.OpticalTransmitPower:
			v.Details.Impacted = addNew(v.Details.Impacted, linkResource(f.link.ID))
			v.Explains = addNew(v.Explains, pointKey(kind, f.to.unit, f.to.receiver()))
		}
	}
	return v
}

// stepBack is how far below its size a step may be before the alarm of it no
// longer names it: what is left then is drift or nothing.
const stepBack = 0.15

// stepped returns the loss that came at once and still stands; 0: none.
func stepped(t *drift.Trend) float64 {
	if t == nil || !t.Step || t.StepDB < stepBack {
		return 0
	}
	return t.StepDB
}

// firstAct is what to do first about an optical power that falls.
func firstAct(p collector.Point) string {
	if p.Quantity == collector.OpticalTransmitPower {
		return "First compare with a power meter at the transmit port."
	}
	return "First clean and re-seat the connectors at both ends."
}
