package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/web/access"
	"lightwell/cmd/lightwell/config"
)

// TestTokenFitsTheConfiguration: what is printed can be pasted, and lets in.
func TestTokenFitsTheConfiguration(t *testing.T) {
	out, notes, err := typed(t.Context(), "token", "anna.k", "--role", "commission")
	require.NoError(t, err)
	secret := strings.TrimSpace(out)
	line := regexp.MustCompile(`(?m)^  - .*$`).FindString(notes)
	require.NotContains(t, notes, secret, "a redirected secret is not shown")

	path := filepath.Join(t.TempDir(), "lightwell.yaml")
	require.NoError(t, os.WriteFile(path, []byte("fleet: [f.yaml]\nlisten: 0.0.0.0:8420\ntokens:\n"+line+"\n"), 0o600))
	cfg, err := config.Load(path, os.Getenv)
	require.NoError(t, err)
	require.Equal(t, []access.Token{{Name: "anna.k", Role: access.Commission, Hash: access.HashOf(secret)}}, cfg.Tokens)
}

func TestTokenIsRefused(t *testing.T) {
	for want, args := range map[string][]string{
		"must not be empty":      {"token", "anna k"},
		`unknown role "boss"`:    {"token", "anna", "--role", "boss"},
		`expected "<name>"`:      {"token"},
		"spaces or colons":       {"token", "a:b"},
		"longer than 100 bytes,": {"token", strings.Repeat("a", 101)},
	} {
		out, _, err := typed(t.Context(), args...)
		require.ErrorContains(t, err, want)
		require.Empty(t, out)
	}
}
