package notify_test

import (
	"context"
	"errors"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/notify"
	"lightwell/collector"
	"lightwell/collector/state"
	"lightwell/collector/state/pgtest"
)

func openStore(t *testing.T, folder string, dsn collector.Secret) *state.Store {
	t.Helper()
	s, err := state.Open(context.Background(), state.Config{Folder: folder, DSN: dsn}, zap.NewNop())
	require.NoError(t, err)
	return s
}

func TestStoredOutboxContract(t *testing.T) {
	t.Run("sqlite", func(t *testing.T) {
		s := openStore(t, t.TempDir(), collector.Secret{})
		defer s.Close()
		testOutbox(t, notify.NewStoredOutbox(s))
	})
	t.Run("postgres", func(t *testing.T) {
		s := openStore(t, t.TempDir(), pgtest.Start(t).Database())
		defer s.Close()
		testOutbox(t, notify.NewStoredOutbox(s))
	})
}

// What waits is there again after a restart, unchanged.
func TestStoredOutboxOutlivesTheProgram(t *testing.T) {
	folder := t.TempDir()
	s := openStore(t, folder, collector.Secret{})
	late := entry("noc", "a", 1)
	late.Body, late.ContentType, late.Type, late.Seq = []byte("\x00\xff{}"), "application/json", "lightwell.alarm.raised", 7
	require.NoError(t, notify.NewStoredOutbox(s).Append([]notify.Entry{late, entry("noc", "b", 2)}))
	late.Attempts, late.NextAttempt, late.Reason = 3, noon.Add(time.Hour), "answered 500"
	require.NoError(t, notify.NewStoredOutbox(s).Update(late))
	require.NoError(t, s.Close())

	s = openStore(t, folder, collector.Secret{})
	defer s.Close()
	o := notify.NewStoredOutbox(s)
	list, err := o.List("noc")
	require.NoError(t, err)
	require.Equal(t, []notify.Entry{late, entry("noc", "b", 2)}, list)
	due, next, err := o.Due("noc", noon, 5)
	require.NoError(t, err)
	require.Equal(t, []string{"b-2"}, ids(due))
	require.Equal(t, noon.Add(time.Hour), next)
}

// rows is a store in memory that can be made to refuse writes.
type rows struct {
	inner *notify.MemoryOutbox
	mu    sync.Mutex
	fault error // of writes
}

func (r *rows) fail(err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.fault = err
}

func (r *rows) failing() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.fault
}

func (r *rows) entries(rows []state.OutboxRow) []notify.Entry {
	var out []notify.Entry
	for _, o := range rows {
		out = append(out, notify.Entry{Endpoint: o.Endpoint, ID: o.ID, Alarm: o.AlarmID, Body: o.Body, ContentType: o.ContentType,
			Created: o.Created, State: notify.State(o.State), Attempts: o.Attempts, NextAttempt: o.Next, Reason: o.LastError})
	}
	return out
}

func (r *rows) AppendOutbox(_ context.Context, of ...state.OutboxRow) error {
	if err := r.failing(); err != nil {
		return err
	}
	return r.inner.Append(r.entries(of))
}

func (r *rows) DueOutbox(_ context.Context, endpoint string, now time.Time, limit int) ([]state.OutboxRow, time.Time, error) {
	due, next, err := r.inner.Due(endpoint, now, limit)
	return notify.Stored(due), next, err
}

func (r *rows) UpdateOutbox(_ context.Context, of ...state.OutboxRow) error {
	if err := r.failing(); err != nil {
		return err
	}
	return r.inner.Update(r.entries(of)...)
}

func (r *rows) ListOutbox(_ context.Context, endpoint, _ string, _ int) ([]state.OutboxRow, error) {
	list, err := r.inner.List(endpoint)
	return notify.Stored(list), err
}

func (r *rows) CountOutbox(_ context.Context, endpoint string) (state.OutboxCount, error) {
	c, err := r.inner.Count(endpoint)
	return state.OutboxCount{Pending: c.Pending, Dead: c.Dead, Oldest: c.Oldest}, err
}

// A store that can be read and not written does not make the receiver get
// the same message again and again.
func TestStoreThatTakesNoUpdates(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := &rows{inner: notify.NewMemoryOutbox(0)}
		f := newReceiver(t, nil)
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{endpoint()}, Via: f, Outbox: notify.NewStoredOutbox(r)})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major), change(2, "a", alarms.ClearedChange, alarms.Major)}))
		r.fail(errors.New("disk full"))
		synctest.Wait()
		<-time.After(time.Hour)
		require.Len(t, f.got(), 1, "told once, and nothing else while that is not written down")
		r.fail(nil)
		<-time.After(time.Minute)
		synctest.Wait()
		require.Equal(t, []string{"lightwell.alarm.raised", clearedType}, types(t, f.got()))
		require.Zero(t, d.Stats()[0].Pending)
	})
}

// Messages made for a transaction of the caller's are the same, with the same
// ids, as often as they are made.
func TestMessagesOfChanges(t *testing.T) {
	chat := endpoint()
	chat.Name, chat.Mode = "chat", notify.RaiseAndClear
	o := notify.NewMemoryOutbox(0)
	d, err := notify.New(notify.Config{Source: "/lightwell/test", Endpoints: []notify.Endpoint{endpoint(), chat}, Outbox: o})
	require.NoError(t, err)
	changes := []alarms.Change{change(1, "a", alarms.Raised, alarms.Major), change(2, "a", alarms.SeverityChanged, alarms.Critical)}
	first := d.Messages(changes, noon)
	require.Len(t, first, 3)
	require.Equal(t, first, d.Messages(changes, noon))
	require.EqualValues(t, []uint64{1, 1, 2}, []uint64{first[0].Seq, first[1].Seq, first[2].Seq})
	count, err := o.Count("noc")
	require.NoError(t, err)
	require.Zero(t, count.Pending, "made, not put anywhere")
}
