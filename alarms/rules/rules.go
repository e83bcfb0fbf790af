// Package rules holds the alarm types of the plant: one file per type, and
// All, the list of them. A rule looks at a site as the engine sees it and
// says, for each resource it can judge, whether the alarm's condition holds.
//
// It guarantees that rules are pure: the same view gives the same verdicts.
// What is not known gives no verdict, never a guess: a reading that is
// missing, or that travels over a dark fibre, neither raises nor clears. A
// rule that finds a cause names the alarms that follow from it, so that one
// cause is one alarm. Texts change only when the severity does; sizes that
// follow the readings are in the details. Data comes from the view alone:
// readings, baselines, limits of the models, and the fleet's wiring.
package rules

import (
	"math"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// Ids of the alarm types.
const (
	SignalLost         = "optical-signal-lost"
	SignalDegraded     = "optical-signal-degraded"
	Drift              = "optical-drift"
	Intermittent       = "optical-intermittent"
	LaserFailed        = "laser-failed"
	LaserAgeing        = "laser-ageing"
	RFLevelDeviation   = "rf-level-deviation"
	SupplyRedundancy   = "supply-redundancy-lost"
	SupplyFailed       = "supply-failed"
	MainsLost          = "mains-lost"
	TemperatureOutside = "temperature-out-of-range"
	WarmUpOverdue      = "warm-up-overdue"
	AntennaFeedFault   = "antenna-feed-fault"
	UnitUnreachable    = "unit-unreachable"
	CredentialsRefused = "credentials-refused"
	SensorBroken       = "sensor-broken"
	BaselineMissing    = "baseline-missing"
	ServiceMarginLow   = "service-margin-low"
)

// All returns one rule per alarm type, in the order in which the inventory
// lists them. The caller owns the slice.
func All() []alarms.Rule {
	return []alarms.Rule{
		signalLost{}, signalDegraded{}, opticalDrift{}, intermittent{}, laserFailed{}, laserAgeing{}, rfLevel{},
		supplyRedundancy{}, supplyFailed{}, mainsLost{}, temperature{}, warmUp{},
		antennaFeed{}, unreachable{}, refused{}, sensor{}, baselineMissing{}, marginLow{},
	}
}

// Resources of verdicts.
func unitResource(id string) string  { return "unit/" + id }
func linkResource(id string) string  { return "link/" + id }
func cableResource(id string) string { return "cable/" + id }
func siteResource(id string) string  { return "site/" + id }

func pointResource(u *alarms.UnitView, p collector.Point) string {
	return "unit/" + u.Unit.ID + "/" + p.String()
}

// pointKey is the key of an alarm of a point.
func pointKey(kind string, u *alarms.UnitView, p collector.Point) alarms.Key {
	return alarms.Key{Resource: pointResource(u, p), Type: kind}
}

// siteName returns what people call the site.
func siteName(v *alarms.View) string {
	if v.Site.Name != "" {
		return v.Site.Name
	}
	return v.Site.ID
}

// named returns what people call a unit.
func named(u collector.Unit) string {
	if u.Name != "" {
		return u.Name
	}
	return u.ID
}

// isActive tells whether an alarm is raised.
func isActive(v *alarms.View, k alarms.Key) bool { return v.Active != nil && v.Active(k) }

// lastSeverity returns what the rule gave a raised alarm last; 0 if not raised
// or not known.
func lastSeverity(v *alarms.View, k alarms.Key) alarms.Severity {
	if v.Severity == nil {
		return 0
	}
	return v.Severity(k)
}

// measured returns a good reading and when the unit measured it, which for a
// value that the unit has kept is earlier than when it was read.
func measured(u *alarms.UnitView, p collector.Point) (value float64, at time.Time, ok bool) {
	if !u.Up() {
		return 0, time.Time{}, false
	}
	pv, ok := u.Points[p]
	if r := &pv.Reading; ok && r.Quality == collector.Good {
		return r.Value, r.Taken.Add(-r.Age), true
	}
	return 0, time.Time{}, false
}

// state returns the state that a good reading stands for; "" is unknown.
func state(u *alarms.UnitView, p collector.Point) (name string, at time.Time) {
	v, at, ok := measured(u, p)
	if !ok {
		return "", time.Time{}
	}
	return p.Quantity.StateName(v), at
}

// deviation returns how far a point is from its baseline; ok is false when
// there is none or nothing to compare.
func deviation(u *alarms.UnitView, p collector.Point) (dev float64, at time.Time, ok bool) {
	_, at, ok = measured(u, p)
	pv := u.Points[p]
	if !ok || !pv.Compared || pv.Baseline == nil || math.IsNaN(pv.Deviation) {
		return 0, time.Time{}, false
	}
	return pv.Deviation, at, true
}

// has tells whether the unit's model gives a point.
func has(u *alarms.UnitView, p collector.Point) bool {
	for _, q := range u.Unit.Equipment.Points {
		if p == q {
			return true
		}
	}
	return false
}

// pointsOf calls f for each point of a quantity that the unit's model gives,
// in the order of the model.
func pointsOf(u *alarms.UnitView, q collector.Quantity, f func(collector.Point)) {
	for _, p := range u.Unit.Equipment.Points {
		if p.Quantity == q {
			f(p)
		}
	}
}

// band is a threshold with hysteresis: raise at Raise, clear at Clear.
type band struct{ raise, clear float64 }

// noiseBand is a band from the noise of the point itself: it raises at six
// standard deviations and no less than least, and clears three nearer, no less
// than back.
func noiseBand(least, back, sigma float64) band {
	raise := max(least, 6*sigma)
	return band{raise, raise - max(back, 3*sigma)}
}

// beyond tells whether size is past the band, given whether it was before.
func (b band) beyond(size float64, before bool) bool {
	return size >= b.raise || before && size > b.clear
}

// shift returns the band with its thresholds moved outwards to at least raise.
func (b band) shift(raise float64) band {
	d := max(raise-b.raise, b.raise/2)
	return band{b.raise + d, b.clear + d}
}

// number rounds to hundredths for the details of an alarm.
func number(v float64) *float64 {
	v = math.Round(v*100) / 100
	return &v
}

// linksOf returns the resources of the links that a unit is an end of.
func linksOf(v *alarms.View, unit string) []string {
	var out []string
	for _, l := range v.Fleet.LinksOf(unit) {
		out = append(out, linkResource(l.ID))
	}
	return out
}
