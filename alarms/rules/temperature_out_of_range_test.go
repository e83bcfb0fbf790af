package rules_test

import (
	"testing"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

const (
	roofCase = "unit/roof-1/temperature"
	roofUnit = "unit/roof-1"
)

// TestTemperature: deadband of one per cent of the range, ISA-18.2 clause 10
// and EEMUA 191 (from memory).
func TestTemperature(t *testing.T) {
	for _, c := range []struct {
		name   string
		c      float64
		raised bool
		want   string
	}{
		{"at the most", 75, false, "clear"},
		{"above", 75.1, false, "minor"},
		{"not two kelvins back", 73.1, true, "minor"},
		{"two kelvins back", 73, true, "clear"},
		{"at the least", -40, false, "clear"},
		{"below", -40.1, false, "minor"},
		{"not two kelvins up", -38.1, true, "minor"},
		{"two kelvins up", -38, true, "clear"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			s.read("roof-1", "temperature", c.c)
			if c.raised {
				s.raise(rules.TemperatureOutside, roofCase, alarms.Minor)
			}
			s.expect(c.want, rules.TemperatureOutside, roofCase)
		})
	}
	t.Run("no limits, no verdict", func(t *testing.T) {
		s := pairs(t, 1)
		s.units["room-1"].Unit.Equipment.Limits = collector.Limits{}
		s.unknown(rules.TemperatureOutside, "unit/room-1/temperature")
	})
	t.Run("a unit that warms up may be cold, not hot", func(t *testing.T) {
		s := pairs(t, 1)
		s.units["roof-1"].StartedAt = now.Add(-time.Minute)
		s.read("roof-1", "temperature", -45)
		s.unknown(rules.TemperatureOutside, roofCase)
		s.say("roof-1", "heater_state", collector.StateOn)
		s.read("roof-1", "temperature", 80)
		s.expect("minor", rules.TemperatureOutside, roofCase)
	})
}
