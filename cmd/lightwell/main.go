// Command lightwell watches RF-over-fibre links: it polls every unit over
// SNMP, compares each reading with its commissioning baseline, raises alarms
// that name cause and first action, and publishes metrics, webhooks, a page
// and an API. Its data come from the files named in its configuration and
// from the units; it only reads from them.
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
	err := run(ctx, os.Args[1:], os.Stdout, os.Stderr)
	os.Exit(exitCode(os.Stderr, err))
}

// Exit codes.
const (
	exitDone   = 0
	exitFailed = 1
	exitUsage  = 2 // wrong usage or configuration
)

// usageError marks an error as wrong usage or configuration.
type usageError struct{ error }

func (e usageError) Unwrap() error { return e.error }

// hinted adds to an error what to try next.
type hinted struct {
	error
	hint string
}

func (e hinted) Unwrap() error { return e.error }

// exitCode prints err, one `error:` line each and `hint:` lines after it, and
// returns the code for it.
func exitCode(stderr io.Writer, err error) int {
	if err == nil {
		return exitDone
	}
	for line := range strings.Lines(err.Error()) {
		fmt.Fprintf(stderr, "error: %s\n", strings.TrimRight(line, "\n"))
	}
	var h hinted
	if errors.As(err, &h) {
		for line := range strings.Lines(h.hint) {
			fmt.Fprintf(stderr, "hint: %s\n", strings.TrimRight(line, "\n"))
		}
	}
	var usage usageError
	var faults document.Faults
	if errors.As(err, &usage) || errors.As(err, &faults) {
		return exitUsage
	}
	return exitFailed
}
