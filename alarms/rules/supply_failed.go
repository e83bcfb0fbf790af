package rules

import (
	"fmt"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// supplyFailed: a supply is gone and nothing is known to stand in for it, or a
// supply's voltage is outside its limits.
type supplyFailed struct{}

// Type implements alarms.Rule.
func (supplyFailed) Type() alarms.Type {
	return alarms.Type{
		ID: SupplyFailed, Title: "Supply failed",
		Why:      "The unit reports a failed supply with none known to replace it, or a supply voltage outside the limits of its type: it may stop working at any moment.",
		ClearsBy: "The supply good, or another one known to carry the unit, and the voltage back inside its limits by two per cent, in two polls in a row.",
		Severity: alarms.Major, Cause: alarms.Cause{Name: "powerSupplyFailure", Number: 78}, EventType: alarms.EquipmentAlarm,
		Raise: alarms.Damping{Polls: 2, For: 30 * time.Second}, Clear: alarms.Damping{Polls: 2},
	}
}

// voltageBack is how far inside a limit a voltage must be to count as good
// again, as a share of the limit.
const voltageBack = 0.02

// Judge implements alarms.Rule.
func (supplyFailed) Judge(v *alarms.View) []alarms.Verdict {
	var out []alarms.Verdict
	for _, u := range v.Units {
		feeds := feedsOf(u)
		for _, f := range feeds {
			out = judgeSupply(v, u, f, feeds, out)
		}
		pointsOf(u, collector.SupplyVoltage, func(p collector.Point) { out = judgeVoltage(v, u, p, feeds, out) })
	}
	return out
}

func judgeSupply(v *alarms.View, u *alarms.UnitView, f feed, feeds []feed, out []alarms.Verdict) []alarms.Verdict {
	verdict := alarms.Verdict{Resource: pointResource(u, f.point), Seen: f.at}
	_, backed := carrier(feeds, f.point.Port)
	switch {
	case f.good(), f.lost() && redundant(u) && backed:
		return append(out, verdict)
	case !f.lost():
		return out
	}
	verdict.Active = true
	what := "its supply"
	if f.point.Port != "" {
		what = "supply " + f.point.Port
	}
	verdict.Text = fmt.Sprintf("%s: %s is %s and no other is known to be good. First check its feed.", named(u.Unit), what, f.said)
	verdict.Details = alarms.Details{Impacted: linksOf(v, u.Unit.ID), Actions: supplyActions, Cautions: supplyCare(u)}
	for _, g := range feeds {
		verdict.Explains = append(verdict.Explains,
			pointKey(SupplyRedundancy, u, g.point),
			pointKey(SupplyFailed, u, collector.Point{Quantity: collector.SupplyVoltage, Port: g.point.Port}))
	}
	return append(out, verdict)
}

// judgeVoltage judges a voltage against the limits of the model, unless the
// supply is known to be gone: then the state has its own alarm.
func judgeVoltage(v *alarms.View, u *alarms.UnitView, p collector.Point, feeds []feed, out []alarms.Verdict) []alarms.Verdict {
	volts, at, ok := measured(u, p)
	limits := u.Unit.Equipment.Limits
	if !ok || limits.SupplyMinV == nil && limits.SupplyMaxV == nil {
		return out
	}
	for _, f := range feeds {
		if f.point.Port == p.Port && f.lost() {
			return out
		}
	}
	key := pointKey(SupplyFailed, u, p)
	verdict := alarms.Verdict{Resource: key.Resource, Seen: at}
	active := isActive(v, key)
	way, limit := "", 0.0
	if low := limits.SupplyMinV; low != nil && (volts < *low || active && volts < *low*(1+voltageBack)) {
		way, limit = "below", *low
	} else if high := limits.SupplyMaxV; high != nil && (volts > *high || active && volts > *high*(1-voltageBack)) {
		way, limit = "above", *high
	}
	if way == "" {
		return append(out, verdict)
	}
	verdict.Active = true
	verdict.Text = fmt.Sprintf("%s is %s its limit of %.1f V. First measure the feed.", describe(u, p), way, limit)
	verdict.Details = alarms.Details{Observed: number(volts), Threshold: number(limit), Unit: "V", Actions: supplyActions, Cautions: supplyCare(u)}
	if other, backed := carrier(feeds, p.Port); backed && redundant(u) {
		verdict.Severity = alarms.Minor
		verdict.Details.BackedUp, verdict.Details.BackupObject = true, pointResource(u, other.point)
	}
	return append(out, verdict)
}

// supplyCare returns the cautions for work at the supply of a unit.
func supplyCare(u *alarms.UnitView) []string {
	if u.Unit.Role == collector.Outdoor {
		return boxCare
	}
	return mainsCare
}
