// Command plantsim is a simulated plant that answers SNMP: the units of a
// fleet file on loopback addresses, moved by the physics of package plant and
// by the faults of a scenario. It is for trials, training and acceptance.
// Nothing can be changed through it, and the same seed gives the same plant.
// Its data come from the fleet, model, scenario and configuration files named
// on the command line; secrets come from files or the environment only.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"

	"lightwell/collector/document"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal kills at once
	os.Exit(exitCode(os.Stderr, run(ctx, os.Args[1:], os.Stdout, os.Stderr)))
}

// Exit codes.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2 // wrong usage or files
)

// usageError marks an error as wrong usage.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// exitCode prints err, one line for each thing wrong, and returns its code.
func exitCode(stderr io.Writer, err error) int {
	if err == nil {
		return exitDone
	}
	for line := range strings.Lines(err.Error()) {
		fmt.Fprintf(stderr, "error: %s\n", strings.TrimRight(line, "\n"))
	}
	var usage usageError
	var faults document.Faults
	if errors.As(err, &usage) || errors.As(err, &faults) {
		return exitUsage
	}
	return exitFailed
}
