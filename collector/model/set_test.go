package model_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/model"
)

func TestBuiltin(t *testing.T) {
	s, err := model.Builtin()
	require.NoError(t, err)
	require.Equal(t, []string{"compact-single-supply", "module-diagnostics", "outdoor-std", "rack-dual-supply", "rack-entity-sensors"}, s.Names())
}
