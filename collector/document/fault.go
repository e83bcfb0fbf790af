// Package document reads the YAML files that people write: fleet files,
// equipment models, the daemon's configuration. It is strict and it is
// complete: an unknown key, a key given twice or a value of the wrong type is
// a fault, and every fault of a file is reported at once, each with file,
// line, column and what to do about it.
//
// It guarantees to return on any input, within the limits MaxSize, MaxDepth,
// MaxNodes and MaxFaults; anchors and aliases work, merge keys and tags are refused.
// Faults never quote a value that was meant as text, because it may be a
// secret. Bytes come from the caller or, with Read, from a file.
package document

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// A Fault is one thing that is wrong in a file, and what to do about it.
type Fault struct {
	File   string
	Line   int // from 1; 0 when the fault is about the whole file
	Column int // from 1
	What   string
	Remedy string // may be empty
}

// Error returns the fault on one line: file:line:column: what; remedy.
func (f Fault) Error() string {
	var b strings.Builder
	b.WriteString(f.File)
	if f.Line > 0 {
		fmt.Fprintf(&b, ":%d:%d", f.Line, f.Column)
	}
	if b.Len() > 0 {
		b.WriteString(": ")
	}
	b.WriteString(f.What)
	if f.Remedy != "" {
		b.WriteString("; ")
		b.WriteString(f.Remedy)
	}
	return b.String()
}

// Faults are all faults of one or more files. As an error it prints one per
// line, sorted by file and place.
type Faults []Fault

// Error returns one line per fault.
func (f Faults) Error() string {
	lines := make([]string, 0, len(f))
	for _, fault := range f.Sorted() {
		lines = append(lines, fault.Error())
	}
	return strings.Join(lines, "\n")
}

// Unwrap lets errors.As find a single Fault.
func (f Faults) Unwrap() []error {
	errs := make([]error, len(f))
	for i := range f {
		errs[i] = f[i]
	}
	return errs
}

// Sorted returns a copy in the order file, line, column; faults of one place
// keep their order.
func (f Faults) Sorted() Faults {
	out := slices.Clone(f)
	slices.SortStableFunc(out, func(a, b Fault) int {
		return cmp.Or(cmp.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return out
}

// Err returns the faults, sorted, as an error: nil when there are none.
func (f Faults) Err() error {
	if len(f) == 0 {
		return nil
	}
	return f.Sorted()
}
