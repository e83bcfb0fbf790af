package rules

import (
	"fmt"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// temperature: a unit is hotter or colder than its type may be.
type temperature struct{}

// Type implements alarms.Rule.
func (temperature) Type() alarms.Type {
	return alarms.Type{
		ID: TemperatureOutside, Title: "Temperature out of range",
		Why:      "The unit is outside the temperature range of its type: lasers age faster, levels drift, and it may switch itself off. Cooling, heating or shade needs a look.",
		ClearsBy: "The case two kelvins inside the range, in two polls in a row over a minute.",
		Severity: alarms.Minor, Cause: alarms.Cause{Name: "temperatureUnacceptable", Number: 548}, EventType: alarms.EnvironmentalAlarm,
		// Alarm practice (ISA-18.2, EEMUA 191): 60 s, and a deadband of 1 % of the range.
		Raise: alarms.Damping{Polls: 2, For: time.Minute}, Clear: alarms.Damping{Polls: 2, For: time.Minute},
	}
}

// temperatureBackC is the hysteresis: one per cent of the 180 kelvins that a
// temperature reading may span.
const temperatureBackC = 2

var (
	hotActions = []string{
		"Check fans, filters, shade and what else heats the place.",
		"Compare with the other units at the site: all hot is the room or the weather, one hot is the unit.",
	}
	coldActions = []string{
		"Check heater and enclosure.",
		"Compare with the other units at the site: all cold is the room or the weather, one cold is the unit.",
	}
)

// Judge implements alarms.Rule.
func (temperature) Judge(v *alarms.View) []alarms.Verdict {
	o := look(v)
	var out []alarms.Verdict
	for _, u := range v.Units {
		pointsOf(u, collector.Temperature, func(p collector.Point) { out = o.judgeTemperature(u, p, out) })
	}
	return out
}

func (o *optics) judgeTemperature(u *alarms.UnitView, p collector.Point, out []alarms.Verdict) []alarms.Verdict {
	c, at, ok := measured(u, p)
	low, high := u.Unit.Equipment.Limits.TemperatureMinC, u.Unit.Equipment.Limits.TemperatureMaxC
	if !ok || low == nil && high == nil {
		return out
	}
	key := pointKey(TemperatureOutside, u, p)
	v := alarms.Verdict{Resource: key.Resource, Seen: at}
	back := 0.0
	if isActive(o.view, key) {
		back = temperatureBackC
	}
	var care []string
	if u.Unit.Role == collector.Outdoor {
		care = boxCare
	}
	switch {
	case high != nil && c > *high-back:
		v.Text = fmt.Sprintf("%s is above its limit of %.0f °C. First check cooling and shade.", describe(u, p), *high)
		v.Details = alarms.Details{Observed: number(c), Threshold: high, Unit: "°C", Actions: hotActions, Cautions: care}
	case low != nil && c < *low+back:
		if o.warming(u) {
			return out
		}
		v.Text = fmt.Sprintf("%s is below its limit of %.0f °C. First check heater and enclosure.", describe(u, p), *low)
		v.Details = alarms.Details{Observed: number(c), Threshold: low, Unit: "°C", Actions: coldActions, Cautions: care}
	default:
		return append(out, v)
	}
	v.Active = true
	return append(out, v)
}
