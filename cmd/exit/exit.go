// Package exit ends the programs of this module alike: signals, exit codes,
// and errors as `error:` lines with `hint:` lines after them. It guarantees
// that whatever a program returns is printed in full and becomes one of three
// codes. Its data are the errors of the program that calls it.
package exit

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

// Exit codes.
const (
	Done   = 0
	Failed = 1
	Misuse = 2 // wrong usage, configuration or files
)

// Main runs a program until it ends or is told to stop, and exits with its
// code. A second signal kills at once.
func Main(run func(ctx context.Context, args []string, out, errOut io.Writer) error) {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	context.AfterFunc(ctx, stop)
	os.Exit(Code(os.Stderr, run(ctx, os.Args[1:], os.Stdout, os.Stderr)))
}

// UsageError marks an error as wrong usage. Usage makes one.
type UsageError struct{ Err error }

// Usage marks err as wrong usage.
func Usage(err error) error { return UsageError{err} }

// Error returns the text of the error that is marked.
func (e UsageError) Error() string { return e.Err.Error() }

// Unwrap returns the error that is marked.
func (e UsageError) Unwrap() error { return e.Err }

// HintedError adds to an error what to try next. Hinted makes one.
type HintedError struct {
	Err  error
	Hint string
}

// Hinted adds a hint, of one line or several, to err.
func Hinted(err error, hint string) error { return HintedError{err, hint} }

// Error returns the text of the error without the hint.
func (e HintedError) Error() string { return e.Err.Error() }

// Unwrap returns the error without the hint.
func (e HintedError) Unwrap() error { return e.Err }

// Code prints err, one `error:` line for each of its lines and `hint:` lines
// after them, and returns the code for it: Misuse for a UsageError and for
// document.Faults, Done for nil.
func Code(stderr io.Writer, err error) int {
	if err == nil {
		return Done
	}
	list(stderr, "error", err.Error())
	var hinted HintedError
	if errors.As(err, &hinted) {
		list(stderr, "hint", hinted.Hint)
	}
	var usage UsageError
	var faults document.Faults
	if errors.As(err, &usage) || errors.As(err, &faults) {
		return Misuse
	}
	return Failed
}

func list(w io.Writer, title, text string) {
	for line := range strings.Lines(text) {
		fmt.Fprintf(w, "%s: %s\n", title, strings.TrimRight(line, "\n"))
	}
}
