package rules

import (
	"fmt"
	"math"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// rfLevel: an RF level has moved by more than the light explains.
type rfLevel struct{}

// Type implements alarms.Rule.
func (rfLevel) Type() alarms.Type {
	return alarms.Type{
		ID: RFLevelDeviation, Title: "RF level deviation",
		Why:      "The radio signal has changed while the light has not: the fault is at the antenna, in the coax, in a unit's RF part, or it is interference. The service suffers although every optical reading looks right.",
		ClearsBy: "The level back near what its baseline, the light and the gain control make one expect, in three polls in a row.",
		Severity: alarms.Minor, Cause: alarms.Cause{Name: "performanceDegraded", Number: 532}, EventType: alarms.QualityOfServiceAlarm,
		Raise: alarms.Damping{Polls: 3, For: 30 * time.Second}, Clear: alarms.Damping{Polls: 3, For: 30 * time.Second},
	}
}

// Sizes in RF decibels: twice those of the light.
const (
	rfMinorDB = 3
	rfMajorDB = 6
	rfBackDB  = 1
	// rfPerOptical is the most RF decibels that one optical decibel accounts
	// for. The law is 2; a ratio of 1.6 to 2.4 counts as a real optical loss.
	rfPerOptical = 2.4
)

var (
	rfWeakActions = []string{
		"Compare RF input at the antenna side, antenna feed current and weather with the time of the change.",
		"Check coax, connectors and antenna for water, damage and obstruction.",
		"Check bias current and temperature of the laser: a lost slope lowers RF at unchanged light.",
	}
	rfStrongActions = []string{
		"Look at the spectrum at the antenna port for interference or overload.",
		"With repeaters: lower the gain by 3 dB; if it steadies, the antennas feed back into each other.",
	}
)

// Judge implements alarms.Rule.
func (rfLevel) Judge(v *alarms.View) []alarms.Verdict {
	o := look(v)
	var out []alarms.Verdict
	for _, u := range v.Units {
		if !u.Up() || o.isBlind(u) || !u.Baselined {
			continue
		}
		for _, p := range u.Unit.Equipment.Points {
			expected, ok := span{}, false
			switch p.Quantity {
			case collector.RFInputLevel:
				ok = true
			case collector.RFOutputLevel:
				expected, ok = o.expectedOutput(u, p)
			case collector.RFNoiseFloor:
				out = o.judgeQuiet(u, p, out)
			}
			if ok {
				out = o.judgeRF(u, p, expected, out)
			}
		}
	}
	return out
}

// span is a range of deviations, from at most 0 to at least 0, that has a
// cause elsewhere.
type span struct{ low, high float64 }

// widen adds a cause that moves the level by anything from nothing to d.
func (s *span) widen(d float64) {
	s.low += min(0, d)
	s.high += max(0, d)
}

// beyond returns the part of a deviation that is outside the span.
func (s span) beyond(dev float64) float64 { return dev - min(max(dev, s.low), s.high) }

// expectedOutput works out how far an output may be off for reasons that have
// their own alarm: the light that arrives, the RF put in at the far end, the
// unit's gain control. It is not ok while one of them that exists is unknown,
// or while there is no light.
func (o *optics) expectedOutput(u *alarms.UnitView, p collector.Point) (expected span, ok bool) {
	for i := range o.fibres {
		f := &o.fibres[i]
		if f.to.unit != u || p.Port != "" && f.to.port != "" && p.Port != f.to.port {
			continue
		}
		if f.arrived.light == dark || o.warming(f.from.unit) {
			return span{}, false
		}
		if r := f.to.receiver(); r.Quantity == collector.OpticalReceivePower {
			dev, _, known := deviation(u, r)
			if !known {
				return span{}, false
			}
			expected.widen(rfPerOptical * dev)
		}
		if !o.isBlind(f.from.unit) {
			pointsOf(f.from.unit, collector.RFInputLevel, func(in collector.Point) {
				if dev, _, known := deviation(f.from.unit, in); known {
					expected.widen(dev)
				}
			})
		}
	}
	pointsOf(u, collector.AGCAttenuation, func(agc collector.Point) {
		if dev, _, known := deviation(u, agc); known {
			expected.widen(-dev)
		}
	})
	return expected, true
}

func (o *optics) judgeRF(u *alarms.UnitView, p collector.Point, expected span, out []alarms.Verdict) []alarms.Verdict {
	dev, at, ok := deviation(u, p)
	if !ok {
		return out
	}
	key := pointKey(RFLevelDeviation, u, p)
	v := alarms.Verdict{Resource: key.Resource, Seen: at}
	rest := expected.beyond(dev)
	ref := u.Points[p].Baseline
	minor := noiseBand(rfMinorDB, rfBackDB, ref.Spread)
	major := minor.shift(rfMajorDB)
	least := minor.raise
	switch size := math.Abs(rest); {
	case major.beyond(size, lastSeverity(o.view, key) >= alarms.Major):
		v.Severity, least = alarms.Major, major.raise
	case minor.beyond(size, isActive(o.view, key)):
		v.Severity = alarms.Minor
	default:
		return o.judgeQuiet(u, p, out)
	}
	v.Active = true
	v.Details = alarms.Details{
		Impacted: linksOf(o.view, u.Unit.ID), Observed: number(ref.Value + dev), Threshold: number(ref.Value + math.Copysign(least, rest)), Unit: "dBm",
		Actions: rfStrongActions, Cautions: antennaCare,
	}
	way, first := "above", "look for interference or feedback between antennas"
	if rest < 0 {
		way, first = "below", "check antenna, coax and connectors"
		v.Details.Actions = rfWeakActions
	}
	v.Text = fmt.Sprintf("%s is more than %.1f dB %s what its baseline of %.1f dBm (%s) and the light explain. First %s.",
		describe(u, p), least, way, ref.Value, ref.CapturedAt.UTC().Format(time.DateOnly), first)
	if f := foundFor(o.view, key.Resource, foundSlopeLost, foundReflection); f != nil {
		v.Details.Actions, v.Details.Cautions = f.Actions, f.Cautions
	}
	if p.Quantity == collector.RFInputLevel {
		v.Explains = o.rfDownstream(u)
	}
	return append(out, v)
}

// rfDownstream returns the keys of the outputs that follow the RF input of a
// unit.
func (o *optics) rfDownstream(u *alarms.UnitView) []alarms.Key {
	var out []alarms.Key
	for i := range o.fibres {
		if f := &o.fibres[i]; f.from.unit == u {
			pointsOf(f.to.unit, collector.RFOutputLevel, func(p collector.Point) {
				out = addNew(out, pointKey(RFLevelDeviation, f.to.unit, p))
			})
		}
	}
	return out
}
