package main

import (
	"bytes"
	"context"
	"os"
	"testing"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"
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

// typed runs a command line in this process.
func typed(ctx context.Context, args ...string) (stdout, stderr string, err error) {
	var out, errOut bytes.Buffer
	err = run(ctx, args, &out, &errOut)
	return out.String(), errOut.String(), err
}
