package caution_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/caution"
)

// TestEveryPlaceHasItsDangers goes by the places of the work, not by the
// lists that the texts are put together from.
func TestEveryPlaceHasItsDangers(t *testing.T) {
	tests := map[string]struct {
		texts []string
		names []string // dangers that must be named
	}{
		"path":    {caution.Path, []string{"invisible", "fall protection", "transmitting antenna"}},
		"antenna": {caution.Antenna, []string{"fall protection", "thunderstorms", "transmitting antenna", "surge protection"}},
		"mains":   {caution.Mains, []string{"isolate, lock, test", "licensed persons"}},
		"box":     {caution.Box, []string{"isolate, lock, test", "fall protection", "transmitting antenna"}},
		"unit":    {caution.Unit, []string{"isolate, lock, test", "invisible"}},
		"source":  {caution.Source, []string{"isolate, lock, test", "invisible", "fall protection"}},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			all := strings.Join(tt.texts, "\n")
			for _, n := range tt.names {
				require.Contains(t, all, n)
			}
			require.Contains(t, tt.texts[len(tt.texts)-1], "Local codes", "codes come last and always")
		})
	}
}
