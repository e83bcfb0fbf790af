package rules

import (
	"fmt"

	"lightwell/alarms"
	"lightwell/collector"
)

// antennaFeed: the direct current to the antenna's amplifier finds an open or
// a short circuit.
type antennaFeed struct{}

// Type implements alarms.Rule.
func (antennaFeed) Type() alarms.Type {
	return alarms.Type{
		ID: AntennaFeedFault, Title: "Antenna feed fault",
		Why:      "The current that the unit feeds to the antenna says open or short circuit: the amplifier, the coax or a surge arrestor is damaged, and the service from this antenna is down.",
		ClearsBy: "The feed reported good, or its current back inside the limits by five per cent, in two polls in a row.",
		Severity: alarms.Major, Cause: alarms.Cause{Name: "antennaFailure", Number: 71}, EventType: alarms.EquipmentAlarm,
		Raise: alarms.Damping{Polls: 2}, Clear: alarms.Damping{Polls: 2},
	}
}

// feedBack is how far inside a limit the current must be to count as good
// again, as a share of the limit.
const feedBack = 0.05

var feedActions = []string{
	"Measure the direct voltage and current at the antenna port with the coax off.",
	"Check connectors, coax and surge arrestor for water and lightning damage.",
	"Exchange the antenna or its amplifier.",
}

// Judge implements alarms.Rule.
func (antennaFeed) Judge(v *alarms.View) []alarms.Verdict {
	o := look(v)
	var out []alarms.Verdict
	for _, u := range v.Units {
		pointsOf(u, collector.AntennaFeedState, func(p collector.Point) { out = o.judgeFeedState(u, p, out) })
		pointsOf(u, collector.LNACurrent, func(p collector.Point) { out = o.judgeFeedCurrent(u, p, out) })
	}
	return out
}

func (o *optics) judgeFeedState(u *alarms.UnitView, p collector.Point, out []alarms.Verdict) []alarms.Verdict {
	said, at := state(u, p)
	verdict := alarms.Verdict{Resource: pointResource(u, p), Seen: at}
	switch said {
	case "":
		return out
	case collector.StateGood:
		return append(out, verdict)
	}
	o.feedFault(&verdict, u, p, said)
	verdict.Direct = true
	current := collector.Point{Quantity: collector.LNACurrent, Port: p.Port}
	verdict.Explains = append(verdict.Explains, pointKey(AntennaFeedFault, u, current))
	return append(out, verdict)
}

// judgeFeedCurrent judges the current by the limits of the model, unless the
// unit itself says that the feed is at fault.
func (o *optics) judgeFeedCurrent(u *alarms.UnitView, p collector.Point, out []alarms.Verdict) []alarms.Verdict {
	ma, at, ok := measured(u, p)
	limits := u.Unit.Equipment.Limits
	said, _ := state(u, collector.Point{Quantity: collector.AntennaFeedState, Port: p.Port})
	if !ok || limits.LNAOpenBelowMA == nil && limits.LNAShortAboveMA == nil || said == collector.StateOpen || said == collector.StateShort {
		return out
	}
	key := pointKey(AntennaFeedFault, u, p)
	verdict := alarms.Verdict{Resource: key.Resource, Seen: at}
	active := isActive(o.view, key)
	if low := limits.LNAOpenBelowMA; low != nil && (ma < *low || active && ma < *low*(1+feedBack)) {
		o.feedFault(&verdict, u, p, collector.StateOpen)
		verdict.Details.Threshold = low
	} else if high := limits.LNAShortAboveMA; high != nil && (ma > *high || active && ma > *high*(1-feedBack)) {
		o.feedFault(&verdict, u, p, collector.StateShort)
		verdict.Details.Threshold = high
	}
	if verdict.Active {
		verdict.Details.Observed, verdict.Details.Unit = number(ma), "mA"
	}
	return append(out, verdict)
}

// feedFault fills in an active verdict.
func (o *optics) feedFault(v *alarms.Verdict, u *alarms.UnitView, p collector.Point, said string) {
	v.Active = true
	v.Text = fmt.Sprintf("%s: %s circuit at the antenna port%s. First measure the feed at the port with the coax off.", named(u.Unit), said, portName(p))
	v.Details = alarms.Details{Impacted: linksOf(o.view, u.Unit.ID), Actions: feedActions, Cautions: antennaCare}
	pointsOf(u, collector.RFInputLevel, func(in collector.Point) {
		v.Explains = append(v.Explains, pointKey(RFLevelDeviation, u, in))
	})
	v.Explains = append(v.Explains, o.rfDownstream(u)...)
}

func portName(p collector.Point) string {
	if p.Port == "" {
		return ""
	}
	return " " + p.Port
}
