package rules_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/rules"
	"lightwell/collector"
)

func TestBaselineMissing(t *testing.T) {
	s := pairs(t, 1)
	s.inactive(rules.BaselineMissing, "unit/room-1")
	s.units["room-1"].Baselined = false
	s.expect("warning", rules.BaselineMissing, "unit/room-1")
	require.Equal(t, 24*time.Hour, ruleOf(t, rules.BaselineMissing).Type().Raise.For)
	s.fail(collector.ErrNoAnswer, "room-1")
	s.unknown(rules.BaselineMissing, "unit/room-1")

	kind := rackKind
	kind.Points = points("uptime", "supply_state/a")
	s.unit("meter", collector.Indoor, kind, "")
	s.units["meter"].Baselined = false
	s.unknown(rules.BaselineMissing, "unit/meter") // nothing to compare
}
