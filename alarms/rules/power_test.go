package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

const (
	supplyA  = "unit/room-1/supply_state/a"
	supplyB  = "unit/room-1/supply_state/b"
	voltageA = "unit/room-1/supply_voltage/a"
)

func TestSupplies(t *testing.T) {
	const good, failed, absent, unread = collector.StateGood, collector.StateFailed, collector.StateAbsent, ""
	for _, c := range []struct {
		name, a, b               string
		lostA, lostB             string // redundancy lost, of a and of b
		failedA, failedB, onesup string
	}{
		{"both good", good, good, "clear", "clear", "clear", "clear", "clear"},
		{"a failed", failed, good, "minor", "clear", "clear", "clear", "major"},
		{"b absent", good, absent, "clear", "minor", "clear", "clear", "clear"},
		{"both failed", failed, failed, "unknown", "unknown", "major", "major", "major"},
		{"a failed, b unread", failed, unread, "unknown", "unknown", "major", "unknown", "major"},
		{"a unread, b good", unread, good, "unknown", "clear", "unknown", "clear", "unknown"},
		{"both unread", unread, unread, "unknown", "unknown", "unknown", "unknown", "unknown"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			set := func(name, state string) {
				if state == unread {
					s.quality("room-1", name, collector.Unavailable)
				} else {
					s.say("room-1", name, state)
				}
			}
			set("supply_state/a", c.a)
			set("supply_state/b", c.b)
			s.expect(c.lostA, rules.SupplyRedundancy, supplyA)
			s.expect(c.lostB, rules.SupplyRedundancy, supplyB)
			s.expect(c.failedA, rules.SupplyFailed, supplyA)
			s.expect(c.failedB, rules.SupplyFailed, supplyB)
			if c.a != unread {
				s.say("roof-1", "supply_state", c.a)
			} else {
				s.quality("roof-1", "supply_state", collector.Unavailable)
			}
			s.expect(c.onesup, rules.SupplyFailed, "unit/roof-1/supply_state")
			s.unknown(rules.SupplyRedundancy, "unit/roof-1/supply_state")
		})
	}
}

// TestRedundancyLostIsBackedUp: X.733 asks for the backup object with the
// backed-up status.
func TestRedundancyLostIsBackedUp(t *testing.T) {
	s := pairs(t, 1)
	s.say("room-1", "supply_state/b", collector.StateFailed)
	v := s.active(rules.SupplyRedundancy, supplyB)
	require.True(t, v.Details.BackedUp)
	require.Equal(t, supplyA, v.Details.BackupObject)
	require.Empty(t, v.Details.Impacted, "the service goes on")
	require.Equal(t, "room-1: supply b is failed; the unit runs on supply a alone. First check the feed of supply b.", v.Text)
	require.False(t, v.Direct, "a flicker in a mains dip is no alarm")
	require.Equal(t, []string{"supply-redundancy-lost " + supplyB}, s.standing())
}

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
