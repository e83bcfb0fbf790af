package rules_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/rules"
	"lightwell/collector"
)

// TestViaFailsWithItsReader: one cause, one alarm.
func TestViaFailsWithItsReader(t *testing.T) {
	s := pairs(t, 2)
	s.fail(collector.ErrNoAnswer, "room-1", "roof-1")
	require.Equal(t, []string{"unit-unreachable unit/room-1"}, s.standing())

	s = pairs(t, 2)
	s.fail(collector.ErrRefused, "room-1", "roof-1")
	require.Equal(t, []string{"credentials-refused unit/room-1"}, s.standing())
	require.Contains(t, s.active(rules.CredentialsRefused, "unit/room-1").Text, `"fleet-v3"`)

	s = pairs(t, 2)
	s.fail(collector.ErrMalformed, "roof-1")
	require.Equal(t, []string{"unit-unreachable unit/roof-1"}, s.standing(), "its reader answers")
}
