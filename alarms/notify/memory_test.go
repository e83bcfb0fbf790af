package notify_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/notify"
)

var noon = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

func entry(endpoint, alarm string, n int) notify.Entry {
	return notify.Entry{
		Endpoint: endpoint, ID: fmt.Sprint(alarm, "-", n), Alarm: alarm, Body: []byte("x"),
		Created: noon.Add(time.Duration(n) * time.Second), State: notify.Pending, NextAttempt: noon,
	}
}

func ids(entries []notify.Entry) []string {
	var out []string
	for _, e := range entries {
		out = append(out, e.ID)
	}
	return out
}

// The rules of Outbox, for any implementation.
func TestOutboxContract(t *testing.T) { testOutbox(t, notify.NewMemoryOutbox(0)) }

func testOutbox(t *testing.T, o notify.Outbox) {
	due := func(endpoint string, now time.Time, limit int) ([]string, time.Time) {
		t.Helper()
		got, next, err := o.Due(endpoint, now, limit)
		require.NoError(t, err)
		return ids(got), next
	}
	require.NoError(t, o.Append([]notify.Entry{
		entry("noc", "a", 1), entry("noc", "b", 2), entry("noc", "a", 3), entry("chat", "a", 1),
	}))
	require.NoError(t, o.Append([]notify.Entry{entry("noc", "a", 1)}), "again: skipped")
	count, err := o.Count("noc")
	require.NoError(t, err)
	require.Equal(t, notify.Count{Pending: 3, Oldest: noon.Add(time.Second)}, count)

	got, _ := due("noc", noon, 10)
	require.Equal(t, []string{"a-1", "b-2"}, got, "a-3 waits for a-1")
	got, _ = due("noc", noon, 1)
	require.Equal(t, []string{"a-1"}, got)
	got, next := due("noc", noon.Add(-time.Second), 10)
	require.Empty(t, got)
	require.Equal(t, noon, next)

	later := entry("noc", "a", 1)
	later.Attempts, later.NextAttempt, later.Reason = 1, noon.Add(time.Hour), "answered 500"
	require.NoError(t, o.Update(later))
	got, next = due("noc", noon, 10)
	require.Equal(t, []string{"b-2"}, got, "a-3 still waits")
	require.Equal(t, noon.Add(time.Hour), next)

	later.State = notify.Dead
	require.NoError(t, o.Update(later))
	got, _ = due("noc", noon, 10)
	require.Equal(t, []string{"b-2", "a-3"}, got, "a dead entry stands in no one's way")
	count, err = o.Count("noc")
	require.NoError(t, err)
	require.Equal(t, notify.Count{Pending: 2, Dead: 1, Oldest: noon.Add(2 * time.Second)}, count)

	done := entry("noc", "b", 2)
	done.State = notify.Delivered
	unknown := entry("noc", "z", 9)
	require.NoError(t, o.Update(done, unknown, entry("nobody", "a", 1)))
	list, err := o.List("noc")
	require.NoError(t, err)
	require.Equal(t, []string{"a-1", "a-3"}, ids(list))
	require.Equal(t, "answered 500", list[0].Reason)
	require.Equal(t, 1, list[0].Attempts)

	list, err = o.List("nobody")
	require.NoError(t, err)
	require.Empty(t, list)
	got, next = due("nobody", noon, 10)
	require.Empty(t, got)
	require.True(t, next.IsZero())
}

func TestMemoryOutboxBound(t *testing.T) {
	o := notify.NewMemoryOutbox(3)
	dead := entry("noc", "b", 2)
	dead.State = notify.Dead
	require.NoError(t, o.Append([]notify.Entry{entry("noc", "a", 1), dead, entry("noc", "c", 3)}))
	require.NoError(t, o.Append([]notify.Entry{entry("noc", "d", 4)}))
	list, _ := o.List("noc")
	require.Equal(t, []string{"a-1", "c-3", "d-4"}, ids(list), "the dead one made room")
	require.NoError(t, o.Append([]notify.Entry{entry("noc", "e", 5), entry("chat", "a", 1)}))
	list, _ = o.List("noc")
	require.Equal(t, []string{"c-3", "d-4", "e-5"}, ids(list))
	count, _ := o.Count("noc")
	require.Equal(t, notify.Count{Pending: 3, Dropped: 1, Oldest: noon.Add(3 * time.Second)}, count)
	count, _ = o.Count("chat")
	require.Equal(t, 1, count.Pending, "bounded for each endpoint by itself")
}
