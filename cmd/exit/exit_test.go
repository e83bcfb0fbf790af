package exit_test

import (
	"bytes"
	"errors"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/cmd/exit"
	"lightwell/collector/document"
)

func TestCode(t *testing.T) {
	fault := document.Faults{{File: "fleet.yaml", Line: 3, Column: 1, What: "unit missing", Remedy: "add it"}}
	for _, tt := range []struct {
		name string
		err  error
		code int
		text string
	}{
		{"done", nil, 0, ""},
		{"failed", errors.New("no answer"), 1, "error: no answer\n"},
		{"several lines", errors.New("a\nb"), 1, "error: a\nerror: b\n"},
		{"a hint", exit.Hinted(errors.New("no answer"), "try again\nor not"), 1, "error: no answer\nhint: try again\nhint: or not\n"},
		{"usage", exit.Usage(errors.New("a")), 2, "error: a\n"},
		{"usage within", fmt.Errorf("parse: %w", exit.Usage(errors.New("no such flag"))), 2, "error: parse: no such flag\n"},
		{"faults of a file", fault.Err(), 2, "error: fleet.yaml:3:1: unit missing; add it\n"},
		{"faults as they are", document.Faults{{File: "f", Line: 1, Column: 2, What: "w"}}, 2, "error: f:1:2: w\n"},
		{"several", errors.Join(errors.New("one"), errors.New("two")), 1, "error: one\nerror: two\n"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var out bytes.Buffer
			require.Equal(t, tt.code, exit.Code(&out, tt.err))
			require.Equal(t, tt.text, out.String())
		})
	}
}

func TestMarksKeepTheCause(t *testing.T) {
	cause := errors.New("no answer")
	err := exit.Hinted(exit.Usage(cause), "try again")
	require.ErrorIs(t, err, cause)
	require.EqualError(t, err, "no answer")
}
