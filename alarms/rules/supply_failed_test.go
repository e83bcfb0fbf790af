package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

func TestBothSuppliesGoneIsNotRedundancy(t *testing.T) {
	s := pairs(t, 1)
	s.raise(rules.SupplyRedundancy, supplyB, alarms.Minor)
	s.say("room-1", "supply_state/b", collector.StateFailed)
	s.say("room-1", "supply_state/a", collector.StateFailed)
	v := s.active(rules.SupplyFailed, supplyA)
	require.Contains(t, v.Explains, key(rules.SupplyRedundancy, supplyB))
	require.Equal(t, []string{"link/l1"}, v.Details.Impacted)
}

func TestVoltage(t *testing.T) {
	for _, c := range []struct {
		name   string
		volts  float64
		raised bool
		want   string
	}{
		{"at the least", 11.4, false, "clear"},
		{"below", 11.39, false, "minor"},
		{"two per cent back, not yet", 11.62, true, "minor"},
		{"back", 11.63, true, "clear"},
		{"at the most", 12.6, false, "clear"},
		{"above", 12.61, false, "minor"},
		{"two per cent below the most, not yet", 12.35, true, "minor"},
		{"below the most", 12.34, true, "clear"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			s.read("room-1", "supply_voltage/a", c.volts)
			if c.raised {
				s.raise(rules.SupplyFailed, voltageA, alarms.Minor)
			}
			s.expect(c.want, rules.SupplyFailed, voltageA)
		})
	}
	t.Run("the only supply", func(t *testing.T) {
		s := pairs(t, 1)
		s.read("roof-1", "supply_voltage", 21)
		v := s.active(rules.SupplyFailed, "unit/roof-1/supply_voltage")
		require.False(t, v.Details.BackedUp)
		s.expect("major", rules.SupplyFailed, "unit/roof-1/supply_voltage")
	})
	t.Run("a failed supply has no voltage of its own to judge", func(t *testing.T) {
		s := pairs(t, 1)
		s.say("room-1", "supply_state/a", collector.StateFailed)
		s.read("room-1", "supply_voltage/a", 0)
		s.unknown(rules.SupplyFailed, voltageA)
		require.Equal(t, []string{"supply-redundancy-lost " + supplyA}, s.standing())
	})
	t.Run("no limits, no verdict", func(t *testing.T) {
		s := pairs(t, 1)
		s.units["room-1"].Unit.Equipment.Limits = collector.Limits{}
		s.unknown(rules.SupplyFailed, voltageA)
	})
}
