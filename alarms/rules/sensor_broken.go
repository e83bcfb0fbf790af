package rules

import (
	"fmt"

	"lightwell/alarms"
	"lightwell/collector"
)

// sensor: a unit says that a sensor is broken, or a value comes that cannot be
// true.
type sensor struct{}

// Type implements alarms.Rule.
func (sensor) Type() alarms.Type {
	return alarms.Type{
		ID: SensorBroken, Title: "Sensor broken",
		Why:      "This reading is blind: a fault it would show will not be seen until the sensor, or the unit's description, is put right. The service itself need not be affected.",
		ClearsBy: "A good reading in two polls in a row.",
		Severity: alarms.Warning, Cause: alarms.Cause{Name: "equipmentMalfunction", Number: 514}, EventType: alarms.EquipmentAlarm,
		Raise: alarms.Damping{Polls: 3}, Clear: alarms.Damping{Polls: 2},
	}
}

var sensorActions = []string{
	"Read the unit with the read command and compare with its own display.",
	"See whether the model in the fleet file is that of the unit.",
	"Exchange the module that holds the sensor at the next visit.",
}

// Judge implements alarms.Rule.
func (sensor) Judge(v *alarms.View) []alarms.Verdict {
	readings := 0
	for _, u := range v.Units {
		readings += len(u.Points)
	}
	out := make([]alarms.Verdict, 0, readings)
	for _, u := range v.Units {
		if !u.Up() {
			continue
		}
		for _, p := range u.Unit.Equipment.Points {
			pv, ok := u.Points[p]
			if !ok {
				continue
			}
			verdict := alarms.Verdict{Resource: pointResource(u, p), Seen: pv.Reading.Taken.Add(-pv.Reading.Age)}
			switch pv.Reading.Quality {
			case collector.Good:
			case collector.Broken:
				verdict.Active, verdict.Direct = true, true
				verdict.Text = fmt.Sprintf("%s: the unit reports that the sensor is broken. First read the unit and compare with its own display.", describe(u, p))
			case collector.OutOfRange:
				verdict.Active = true
				verdict.Text = fmt.Sprintf("%s: the values cannot be true. First see whether the model in the fleet file is that of the unit.", describe(u, p))
			default:
				continue
			}
			if verdict.Active {
				verdict.Details = alarms.Details{Actions: sensorActions, Cautions: unitCare}
			}
			out = append(out, verdict)
		}
	}
	return out
}
