package notify

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"time"

	"lightwell/collector/state"
)

// Rows is where a StoredOutbox keeps its entries; state.Store is one.
type Rows interface {
	AppendOutbox(ctx context.Context, rows ...state.OutboxRow) error
	DueOutbox(ctx context.Context, endpoint string, now time.Time, limit int) (due []state.OutboxRow, next time.Time, err error)
	UpdateOutbox(ctx context.Context, rows ...state.OutboxRow) error
	ListOutbox(ctx context.Context, endpoint, state string, limit int) ([]state.OutboxRow, error)
	CountOutbox(ctx context.Context, endpoint string) (state.OutboxCount, error)
}

// storeTimeout bounds one question to the store, countTimeout one that only
// asks for figures: nobody waits long for those.
const (
	storeTimeout = 5 * time.Second
	countTimeout = time.Second
)

// StoredOutbox is an Outbox that outlives the program. Safe for concurrent
// use.
//
// What became of an attempt is remembered until the store has taken it, and
// until then nothing more is sent to that endpoint: otherwise a store that
// can be read and not written would send the same message again and again.
type StoredOutbox struct {
	rows Rows
	mu   sync.Mutex
	late map[string]map[string]Entry // by endpoint and id: updates that the store has refused
}

var (
	_ Outbox = (*StoredOutbox)(nil)
	_ Rows   = (*state.Store)(nil)
)

// NewStoredOutbox returns an outbox that keeps its entries in rows.
func NewStoredOutbox(rows Rows) *StoredOutbox {
	return &StoredOutbox{rows: rows, late: map[string]map[string]Entry{}}
}

func patient() (context.Context, context.CancelFunc) {
	return context.WithTimeout(context.Background(), storeTimeout)
}

// Append implements Outbox.
func (o *StoredOutbox) Append(entries []Entry) error {
	if len(entries) == 0 {
		return nil
	}
	ctx, cancel := patient()
	defer cancel()
	return o.rows.AppendOutbox(ctx, Stored(entries)...)
}

// Due implements Outbox.
func (o *StoredOutbox) Due(endpoint string, now time.Time, limit int) (due []Entry, next time.Time, err error) {
	if err := o.catchUp(endpoint); err != nil {
		return nil, next, err
	}
	ctx, cancel := patient()
	defer cancel()
	rows, next, err := o.rows.DueOutbox(ctx, endpoint, now, limit)
	return entriesOf(rows), next, err
}

// Update implements Outbox. After an error the update is not lost: it is
// tried again before anything else is sent to the endpoint.
func (o *StoredOutbox) Update(entries ...Entry) error {
	if len(entries) == 0 {
		return nil
	}
	o.remember(entries)
	var errs []error
	done := map[string]bool{}
	for i := range entries {
		if name := entries[i].Endpoint; !done[name] {
			done[name] = true
			errs = append(errs, o.catchUp(name))
		}
	}
	return errors.Join(errs...)
}

func (o *StoredOutbox) remember(entries []Entry) {
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, e := range entries {
		of := o.late[e.Endpoint]
		if of == nil {
			of = map[string]Entry{}
			o.late[e.Endpoint] = of
		}
		of[e.ID] = e
	}
}

// catchUp writes what an endpoint's updates still owe to the store.
func (o *StoredOutbox) catchUp(endpoint string) error {
	o.mu.Lock()
	defer o.mu.Unlock()
	var owed []Entry
	for _, e := range o.late[endpoint] {
		owed = append(owed, e)
	}
	if len(owed) == 0 {
		return nil
	}
	ctx, cancel := patient()
	defer cancel()
	if err := o.rows.UpdateOutbox(ctx, Stored(owed)...); err != nil {
		return fmt.Errorf("write what became of %d messages: %w", len(owed), err)
	}
	delete(o.late, endpoint)
	return nil
}

// List implements Outbox.
func (o *StoredOutbox) List(endpoint string) ([]Entry, error) {
	ctx, cancel := patient()
	defer cancel()
	rows, err := o.rows.ListOutbox(ctx, endpoint, "", math.MaxInt32)
	return entriesOf(rows), err
}

// Count implements Outbox. Nothing is ever dropped.
func (o *StoredOutbox) Count(endpoint string) (Count, error) {
	ctx, cancel := context.WithTimeout(context.Background(), countTimeout)
	defer cancel()
	c, err := o.rows.CountOutbox(ctx, endpoint)
	return Count{Pending: c.Pending, Dead: c.Dead, Oldest: c.Oldest}, err
}

// Stored returns entries as rows of the store.
func Stored(entries []Entry) []state.OutboxRow {
	out := make([]state.OutboxRow, len(entries))
	for i, e := range entries {
		out[i] = state.OutboxRow{
			Endpoint: e.Endpoint, ID: e.ID, AlarmID: e.Alarm, Seq: e.Seq, Type: e.Type, ContentType: e.ContentType, Body: e.Body,
			Created: e.Created, State: string(e.State), Attempts: e.Attempts, Next: e.NextAttempt, LastError: e.Reason,
		}
	}
	return out
}

func entriesOf(rows []state.OutboxRow) []Entry {
	var out []Entry
	for _, r := range rows {
		out = append(out, Entry{
			Endpoint: r.Endpoint, ID: r.ID, Alarm: r.AlarmID, Seq: r.Seq, Type: r.Type, ContentType: r.ContentType, Body: r.Body,
			Created: r.Created, State: State(r.State), Attempts: r.Attempts, NextAttempt: r.Next, Reason: r.LastError,
		})
	}
	return out
}
