package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

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
