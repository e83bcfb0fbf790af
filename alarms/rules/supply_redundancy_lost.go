package rules

import (
	"fmt"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// supplyRedundancy: one of two supplies is gone and the other carries the
// unit.
type supplyRedundancy struct{}

// Type implements alarms.Rule.
func (supplyRedundancy) Type() alarms.Type {
	return alarms.Type{
		ID: SupplyRedundancy, Title: "Supply redundancy lost",
		Why:      "The unit runs on its last supply: the service is not affected, but the next failure of a supply or a feed takes it down.",
		ClearsBy: "Both supplies good in two polls in a row.",
		Severity: alarms.Minor, Cause: alarms.Cause{Name: "lossOfRedundancy", Number: 77}, EventType: alarms.EquipmentAlarm,
		Raise: alarms.Damping{Polls: 2, For: 30 * time.Second}, Clear: alarms.Damping{Polls: 2},
	}
}

var supplyActions = []string{
	"Find out which feed it is; check breaker, fuse and socket before changing the module.",
	"Measure the feed; with power there, exchange the supply module.",
}

// A feed is one supply of a unit as it reports itself.
type feed struct {
	point collector.Point
	said  string // "" is unknown
	at    time.Time
}

func (f feed) good() bool { return f.said == collector.StateGood }

// lost tells that the unit says the supply does not work.
func (f feed) lost() bool { return f.said == collector.StateFailed || f.said == collector.StateAbsent }

func feedsOf(u *alarms.UnitView) []feed {
	var out []feed
	pointsOf(u, collector.SupplyState, func(p collector.Point) {
		said, at := state(u, p)
		out = append(out, feed{p, said, at})
	})
	return out
}

// carrier returns a good supply other than that of the port.
func carrier(feeds []feed, port string) (feed, bool) {
	for _, f := range feeds {
		if f.good() && f.point.Port != port {
			return f, true
		}
	}
	return feed{}, false
}

// redundant tells whether a unit is meant to have a supply to spare.
func redundant(u *alarms.UnitView) bool { return u.Unit.Equipment.Supplies >= 2 }

// Judge implements alarms.Rule.
func (supplyRedundancy) Judge(v *alarms.View) []alarms.Verdict {
	var out []alarms.Verdict
	for _, u := range v.Units {
		if !redundant(u) {
			continue
		}
		feeds := feedsOf(u)
		for _, f := range feeds {
			verdict := alarms.Verdict{Resource: pointResource(u, f.point), Seen: f.at}
			other, backed := carrier(feeds, f.point.Port)
			switch {
			case f.lost() && backed:
				verdict.Active = true
				verdict.Text = fmt.Sprintf("%s: supply %s is %s; the unit runs on supply %s alone. First check the feed of supply %s.", named(u.Unit), f.point.Port, f.said, other.point.Port, f.point.Port)
				verdict.Details = alarms.Details{BackedUp: true, BackupObject: pointResource(u, other.point), Actions: supplyActions, Cautions: mainsCare}
				verdict.Explains = []alarms.Key{pointKey(SupplyFailed, u, collector.Point{Quantity: collector.SupplyVoltage, Port: f.point.Port})}
				out = append(out, verdict)
			case f.good():
				out = append(out, verdict)
			}
		}
	}
	return out
}
