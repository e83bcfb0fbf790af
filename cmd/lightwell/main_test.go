package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"

	"lightwell/collector/document"
)

func TestMain(m *testing.M) { testscript.Main(m, map[string]func(){"lightwell": main}) }

// TestCommands runs the scripts of testdata/script, each as a person would
// type it.
func TestCommands(t *testing.T) {
	scripts, err := os.ReadDir("testdata/script")
	require.NoError(t, err)
	require.NotEmpty(t, scripts)
	testscript.Run(t, testscript.Params{Dir: "testdata/script"})
}

func TestExitCodes(t *testing.T) {
	fault := document.Faults{{File: "fleet.yaml", Line: 3, Column: 1, What: "unit missing", Remedy: "add it"}}
	for _, tt := range []struct {
		name string
		err  error
		code int
		text string
	}{
		{"done", nil, 0, ""},
		{"failed", errors.New("no answer"), 1, "error: no answer\n"},
		{"a hint", hinted{errors.New("no answer"), "try again\nor not"}, 1, "error: no answer\nhint: try again\nhint: or not\n"},
		{"usage", fmt.Errorf("parse: %w", usageError{errors.New("no such flag")}), 2, "error: parse: no such flag\n"},
		{"faults of a file", fault.Err(), 2, "error: fleet.yaml:3:1: unit missing; add it\n"},
		{"several", errors.Join(errors.New("one"), errors.New("two")), 1, "error: one\nerror: two\n"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var out bytes.Buffer
			require.Equal(t, tt.code, exitCode(&out, tt.err))
			require.Equal(t, tt.text, out.String())
		})
	}
}

// typed runs a command line in this process.
func typed(ctx context.Context, args ...string) (stdout, stderr string, err error) {
	var out, errOut bytes.Buffer
	err = run(ctx, args, &out, &errOut)
	return out.String(), errOut.String(), err
}
