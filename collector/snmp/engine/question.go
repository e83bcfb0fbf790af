package engine

import (
	"errors"
	"net/netip"
	"time"
)

// Errors that end a question.
var (
	ErrSilent    = errors.New("no answer that counts") // through all tries
	ErrClosed    = errors.New("the engine is closed")
	ErrCancelled = errors.New("the question was cancelled")
)

// An Undelivered error is what the network said of a message: the errno of the
// system. It stands beside ErrSilent.
type Undelivered struct{ Err error }

// Error says what the network said.
func (u *Undelivered) Error() string { return "not delivered: " + u.Err.Error() }

// Unwrap returns the errno.
func (u *Undelivered) Unwrap() error { return u.Err }

// A Verdict is what a Dialect thinks of a datagram.
type Verdict uint8

// Verdicts.
const (
	Aside  Verdict = iota // does not count: go on waiting
	Taken                 // the answer: the question has ended
	Again                 // tells what a better message needs: send one at once, with a new id
	Failed                // an answer that ends the question with Dialect.Fault
)

// A Dialect makes the message of a question and judges what comes back. The
// engine calls it from its goroutines, never two calls for one question at a
// time, and holds a lock meanwhile: it must neither block nor call the engine.
type Dialect interface {
	// Message appends the message with that id to dst. An error ends the
	// question.
	Message(dst []byte, id int32, now time.Time) ([]byte, error)
	// Answer judges a datagram that carries the id and came from the unit. It
	// may change b, and must not keep it.
	Answer(b []byte, id int32, now time.Time) Verdict
	// Misfit hears of a datagram that came from the unit while its question is
	// under way but carries another id, or none. It cannot count. As of Answer.
	Misfit(b []byte, id int32, now time.Time)
	// Fault is why the question failed, or why something did not count; it may be
	// nil.
	Fault() error
}

// A Question is one message to one unit until its answer. It belongs to the
// engine from Ask until Done is called, and may be used again from then on. The
// caller sees to it that an address is asked one question at a time.
type Question struct {
	To      netip.AddrPort
	Dialect Dialect
	Silent  bool // the unit stayed silent before: it waits in the window for those
	// Done is called once, from a goroutine of the engine, which waits for it.
	// The error is nil, ErrSilent (joined with Dialect.Fault when something
	// came that did not count, and with an Undelivered when the network told
	// one), ErrClosed, ErrCancelled, or the fault of the Dialect.
	Done func(q *Question, err error)

	state      state
	cancelled  bool      // while idle
	slot       int32     // while under way
	prev, next *Question // while waiting
}

// state is where a question is. The lock of its socket guards it.
type state uint8

const (
	idle state = iota
	waiting
	underWay
)

// queue is a first-in, first-out list of questions.
type queue struct{ head, tail *Question }

func (l *queue) push(q *Question) {
	q.prev, q.next = l.tail, nil
	if l.tail == nil {
		l.head = q
	} else {
		l.tail.next = q
	}
	l.tail = q
}

func (l *queue) remove(q *Question) {
	if q.prev == nil {
		l.head = q.next
	} else {
		q.prev.next = q.next
	}
	if q.next == nil {
		l.tail = q.prev
	} else {
		q.next.prev = q.prev
	}
	q.prev, q.next = nil, nil
}

// pop takes the first question off; nil when there is none.
func (l *queue) pop() *Question {
	q := l.head
	if q != nil {
		l.remove(q)
	}
	return q
}

func (l *queue) empty() bool { return l.head == nil }
