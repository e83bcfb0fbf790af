package main

import (
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/cmd/exit"
	"lightwell/collector/plan"
)

// TestNonsenseIsMisuse: what a person typed wrong ends with the code for it.
func TestNonsenseIsMisuse(t *testing.T) {
	for _, args := range [][]string{
		{"budget"},
		{"budget", "--length-m", "100", "--connectors", "-1"},
		{"budget", "--length-m", "long"},
		{"budget", "--length-m", "100", "--noise", "1:2:3"},
		{"budget", "--length-m", "100", "--transmitter", "nothing-known"},
		{"budget", "--length-m", "100", "--plot", "x"},
		{"budget", "some-link"},
		{"budget", "--length-m", "100", "-o", "xml"},
	} {
		_, _, err := typed(t.Context(), args...)
		require.Error(t, err, args)
		require.Equal(t, exit.Misuse, exit.Code(io.Discard, err), args)
	}
}

func TestBudgetOfTheDemonstration(t *testing.T) {
	out, _, err := typed(t.Context(), "budget", "--fleet", "demo/fleet.yaml", "-o", "json")
	require.NoError(t, err)
	var sheets []plan.Sheet
	require.NoError(t, json.Unmarshal([]byte(out), &sheets))
	require.Len(t, sheets, 84)
	for _, s := range sheets {
		require.NotNil(t, s.Light, s.Link)
		require.NotNil(t, s.Failure, s.Link)
		require.Greater(t, s.Failure.Left.Low, 2.0, s.Link)
		require.Equal(t, s.Direction == "downlink", s.CN0 != nil, s.Link)
	}
}

// TestBudgetInTheDocument: the example is what the program prints for the
// fleet file of the first site.
func TestBudgetInTheDocument(t *testing.T) {
	path := filepath.Join(t.TempDir(), "fleet.yaml")
	require.NoError(t, os.WriteFile(path, []byte(yamlBlocks(t, "First site")[0]), 0o600))
	out, _, err := typed(t.Context(), "budget", "nq", "--fleet", path)
	require.NoError(t, err)
	shown, _, _ := strings.Cut(out, "\n\n")
	require.Contains(t, section(t, read(t, "README.md"), "Plan and margin"), "```\n"+shown+"\n```")
}
