package collector

import (
	"context"
	"errors"
	"time"
)

// Errors that a Prober wraps. Any other error means that the answer could not
// be understood, or that the unit could not be asked at all.
var (
	// ErrNoAnswer: the unit stayed silent through all tries.
	ErrNoAnswer = errors.New("no answer")
	// ErrRefused: the unit answered that it does not accept our credentials.
	ErrRefused = errors.New("credentials refused")
	// ErrMalformed: an answer came that does not fit the question.
	ErrMalformed = errors.New("answer does not fit the question")
)

// A Prober reads one unit once. It returns one reading per point of the
// unit's equipment: a point without a value is there with its quality. The
// error wraps ErrNoAnswer, ErrRefused or ErrMalformed where one of them
// applies. It returns within 100 ms after ctx ends. Safe for concurrent use;
// the caller sees to it that at most one probe of an address is under way.
type Prober interface {
	Probe(ctx context.Context, u Unit) ([]Reading, error)
}

// A Poll is the outcome of one probe, success or not.
type Poll struct {
	Unit      string
	Started   time.Time // UTC
	Took      time.Duration
	Readings  []Reading // nil when Err is not nil
	Err       error
	Restarted bool // the unit's agent started anew since the last good poll
}
