package notify

import "time"

// State of an entry of the outbox.
type State string

// States. A delivered entry leaves the outbox.
const (
	Pending   State = "pending"
	Dead      State = "dead" // given up; may be sent again by hand
	Delivered State = "delivered"
)

// Entry is one message for one endpoint. Body and ID are the same at every
// attempt.
type Entry struct {
	Endpoint    string
	ID          string // of the event; with Endpoint it is the key
	Alarm       string // id of the alarm: entries of one alarm go in order
	Seq         uint64 // of the change that it tells of
	Type        string // of the event
	ContentType string
	Body        []byte // must not be changed
	Created     time.Time
	State       State
	Attempts    int       // that failed
	NextAttempt time.Time // earliest moment of the next attempt
	Reason      string    // why the last attempt failed, or why it is dead
}

// Count is how the outbox stands for one endpoint.
type Count struct {
	Pending int
	Dead    int
	Dropped uint64    // pending entries pushed out because the outbox was full
	Oldest  time.Time // Created of the oldest pending entry; zero: none
}

// Outbox keeps messages until they are delivered or given up. It keeps the
// order in which entries were appended. Safe for concurrent use.
type Outbox interface {
	// Append adds entries, all or none. An entry whose key is already there
	// is skipped, so that appending twice does no harm.
	Append(entries []Entry) error
	// Due returns up to limit entries of an endpoint that may be sent now.
	// Of each alarm only the oldest pending entry is looked at. With fewer
	// than limit entries, next is when the earliest other one falls due, and
	// zero when there is none.
	Due(endpoint string, now time.Time, limit int) (due []Entry, next time.Time, err error)
	// Update stores State, Attempts, NextAttempt and Reason of entries by
	// their keys. Delivered removes. Unknown keys are skipped.
	Update(entries ...Entry) error
	// List returns pending and dead entries of an endpoint, oldest first.
	List(endpoint string) ([]Entry, error)
	// Count tells how an endpoint stands.
	Count(endpoint string) (Count, error)
}
