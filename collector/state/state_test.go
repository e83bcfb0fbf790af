package state_test

import (
	"context"
	"encoding/json"
	"fmt"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/state"
	"lightwell/collector/state/pgtest"
)

var (
	ctx  = context.Background()
	noon = time.Date(2026, 3, 1, 12, 0, 0, 123456789, time.UTC)
)

// A place is where a test keeps its state, in one engine; open may be called
// again after Close.
type place struct {
	folder string
	dsn    collector.Secret
}

func (p place) config() state.Config { return state.Config{Folder: p.folder, DSN: p.dsn} }

func (p place) open(t testing.TB) *state.Store {
	t.Helper()
	s, err := state.Open(ctx, p.config(), nil)
	require.NoError(t, err)
	return s
}

// suite runs on both engines, each test in an empty place.
var suite = []struct {
	name string
	test func(t *testing.T, p place)
}{
	{"a round is read back", testARoundIsReadBack},
	{"a round is stored once", testARoundIsStoredOnce},
	{"another change under a taken number is refused", testAnotherChangeUnderATakenNumberIsRefused},
	{"log", testLog},
	{"outbox", testOutbox},
	{"baselines", testBaselines},
	{"documents", testDocuments},
	{"visits", testVisits},
	{"trends", testTrends},
	{"many at once", testManyAtOnce},
	{"old lines and messages are forgotten", testTrim},
	{"an ended context writes nothing", testAnEndedContextWritesNothing},
	{"killed", testKilled},
}

func TestSQLite(t *testing.T) {
	for _, c := range suite {
		t.Run(c.name, func(t *testing.T) { c.test(t, place{folder: t.TempDir()}) })
	}
}

func TestPostgres(t *testing.T) {
	server := pgtest.Start(t)
	for _, c := range suite {
		t.Run(c.name, func(t *testing.T) { c.test(t, place{folder: t.TempDir(), dsn: server.Database()}) })
	}
}

func opened(t testing.TB, p place) *state.Store {
	t.Helper()
	s := p.open(t)
	t.Cleanup(func() { s.Close() })
	return s
}

func change(seq uint64, alarm string) state.ChangeRow {
	return state.ChangeRow{
		Seq: seq, AlarmID: alarm, Site: "ridge", Kind: "raised", Operator: "kim", From: "192.0.2.7", Text: "seen",
		Time: noon.Add(time.Duration(seq) * time.Second), Body: []byte(fmt.Sprintf(`{"seq": %d}`, seq)),
	}
}

func message(endpoint, alarm string, n int) state.OutboxRow {
	return state.OutboxRow{
		Endpoint: endpoint, ID: fmt.Sprint(alarm, "-", n), AlarmID: alarm, Type: "raised", ContentType: "application/json",
		Body: []byte{0, 0xff, '{'}, Created: noon.Add(time.Duration(n) * time.Second), State: state.Pending, Next: noon,
	}
}

func alarm(id string, version uint64) state.AlarmRow {
	return state.AlarmRow{ID: id, Site: "ridge", Version: version, Body: []byte(fmt.Sprintf(`{"id":%q,"text":"Strøm"}`, id))}
}

func testARoundIsReadBack(t *testing.T, p place) {
	s := p.open(t)
	require.Equal(t, p.folder, s.Path())
	require.Equal(t, map[bool]string{true: "sqlite", false: "postgres"}[p.dsn.Empty()], s.Engine())
	next, err := s.NextSeq(ctx)
	require.NoError(t, err)
	require.EqualValues(t, 1, next)
	told := message("noc", "a", 1)
	told.Seq = 1
	require.NoError(t, s.Commit(ctx, state.Batch{
		Site: "ridge", Alarms: []state.AlarmRow{alarm("a", 1), alarm("b", 2)}, Changes: []state.ChangeRow{change(1, "a"), change(2, "b")},
		Evidence: []state.EvidenceRow{{Key: "x", Body: []byte(`1`)}, {Key: "y", Body: []byte(`2`)}}, Outbox: []state.OutboxRow{told},
	}))
	require.NoError(t, s.Commit(ctx, state.Batch{
		Site: "ridge", Alarms: []state.AlarmRow{alarm("a", 3)}, Purged: []string{"b"}, Changes: []state.ChangeRow{change(3, "a"), change(4, "b")},
		Evidence: []state.EvidenceRow{{Key: "x", Body: []byte(`3`)}}, EvidenceGone: []string{"y"},
	}))
	require.NoError(t, s.Close())

	s = opened(t, p)
	alarms, err := s.Alarms(ctx)
	require.NoError(t, err)
	require.Equal(t, []state.AlarmRow{alarm("a", 3)}, alarms)
	evidence, err := s.Evidence(ctx)
	require.NoError(t, err)
	require.Equal(t, []state.EvidenceRow{{Key: "x", Body: []byte(`3`)}}, evidence)
	changes, err := s.Changes(ctx, state.Filter{})
	require.NoError(t, err)
	require.Len(t, changes, 4)
	newest := change(4, "b")
	newest.Entry = 4
	require.Equal(t, newest, changes[0])
	list, err := s.ListOutbox(ctx, "noc", "", 0)
	require.NoError(t, err)
	require.Equal(t, []state.OutboxRow{told}, list)
	next, err = s.NextSeq(ctx)
	require.NoError(t, err)
	require.EqualValues(t, 5, next)
}

func testARoundIsStoredOnce(t *testing.T, p place) {
	s := opened(t, p)
	first, both := round(1, 2), round(1, 4)
	require.NoError(t, s.Commit(ctx, first))
	first.Outbox[0].State = state.Delivered
	require.NoError(t, s.UpdateOutbox(ctx, first.Outbox[0]))
	require.NoError(t, s.Commit(ctx, both), "merged with the next, as after an unknown outcome")
	require.NoError(t, s.Commit(ctx, both), "again")
	log, err := s.Changes(ctx, state.Filter{})
	require.NoError(t, err)
	require.Len(t, log, 4)
	list, err := s.ListOutbox(ctx, "", "", 0)
	require.NoError(t, err)
	require.Len(t, list, 3, "what was delivered does not come back")
}

func testAnotherChangeUnderATakenNumberIsRefused(t *testing.T, p place) {
	s := opened(t, p)
	require.NoError(t, s.Commit(ctx, state.Batch{Changes: []state.ChangeRow{change(5, "a")}}))
	for name, b := range map[string]state.Batch{
		"other alarm": {Changes: []state.ChangeRow{change(5, "b")}},
		"in a gap":    {Changes: []state.ChangeRow{change(3, "a")}},
	} {
		b.Alarms = []state.AlarmRow{alarm("b", 5)}
		require.ErrorIs(t, s.Commit(ctx, b), state.ErrConflict, name)
	}
	require.ErrorContains(t, s.Commit(ctx, state.Batch{Changes: []state.ChangeRow{{AlarmID: "a"}}}), "no number")
	require.ErrorContains(t, s.Commit(ctx, state.Batch{Changes: []state.ChangeRow{change(8, "a"), change(7, "a")}}), "in their order")
	alarms, err := s.Alarms(ctx)
	require.NoError(t, err)
	require.Empty(t, alarms, "all or nothing")
}

func testLog(t *testing.T, p place) {
	s := opened(t, p)
	for seq := uint64(1); seq <= 9; seq += 3 {
		other := change(seq+2, "b")
		other.Site = "valley"
		require.NoError(t, s.Commit(ctx, state.Batch{Changes: []state.ChangeRow{change(seq, "a"), change(seq+1, "b"), other}}))
	}
	reload := state.AuditRow{Time: noon.Add(time.Minute), Who: "kim", From: "192.0.2.7", What: "reload", Detail: "3 units \x00added\xff", Body: []byte(`{}`)}
	require.NoError(t, s.AppendAudit(ctx, reload))
	entries := func(f state.Filter) (out []uint64) {
		t.Helper()
		log, err := s.Changes(ctx, f)
		require.NoError(t, err)
		for _, c := range log {
			out = append(out, c.Entry)
		}
		return out
	}
	for _, c := range []struct {
		name   string
		filter state.Filter
		want   []uint64
	}{
		{"all", state.Filter{}, []uint64{10, 9, 8, 7, 6, 5, 4, 3, 2, 1}},
		{"alarm", state.Filter{Alarm: "a"}, []uint64{7, 4, 1}},
		{"site", state.Filter{Site: "valley"}, []uint64{9, 6, 3}},
		{"both", state.Filter{Site: "valley", Alarm: "a"}, nil},
		{"of no site", state.Filter{NoSite: true}, []uint64{10}},
		{"since, the moment itself", state.Filter{Since: noon.Add(8 * time.Second)}, []uint64{10, 9, 8}},
		{"limit", state.Filter{Limit: 2}, []uint64{10, 9}},
		{"page", state.Filter{Limit: 2, Before: 9}, []uint64{8, 7}},
		{"page of an alarm", state.Filter{Limit: 1, Before: 7, Alarm: "a"}, []uint64{4}},
		{"after the oldest", state.Filter{Before: 1}, nil},
	} {
		require.Equal(t, c.want, entries(c.filter), c.name)
	}
	log, err := s.Changes(ctx, state.Filter{Limit: 1})
	require.NoError(t, err)
	require.Equal(t, state.ChangeRow{
		Entry: 10, Kind: "reload", Operator: "kim", From: "192.0.2.7", Text: "3 units \ufffdadded\ufffd", Time: reload.Time, Body: []byte(`{}`),
	}, log[0])

	late := change(10, "a")
	late.Time = noon
	require.NoError(t, s.Commit(ctx, state.Batch{Changes: []state.ChangeRow{late}}))
	require.Equal(t, []uint64{7, 4, 1, 11}, entries(state.Filter{Alarm: "a"}), "in the order of time")
	require.Equal(t, []uint64{11}, entries(state.Filter{Alarm: "a", Before: 1}))
}

func testOutbox(t *testing.T, p place) {
	s := opened(t, p)
	due := func(want ...string) (next time.Time) {
		t.Helper()
		rows, next, err := s.DueOutbox(ctx, "noc", noon, 10)
		require.NoError(t, err)
		var got []string
		for _, r := range rows {
			got = append(got, r.ID)
		}
		require.Equal(t, want, got)
		return next
	}
	update := func(m state.OutboxRow, to string, next time.Time) {
		t.Helper()
		m.State, m.Next, m.Attempts, m.LastError = to, next, 1, "answered 500 \xff"
		require.NoError(t, s.UpdateOutbox(ctx, m))
	}
	a1, a2, a3, b4 := message("noc", "a", 1), message("noc", "a", 2), message("noc", "a", 3), message("noc", "b", 4)
	require.NoError(t, s.AppendOutbox(ctx, a1, a2, a3, b4, message("chat", "a", 1)))
	require.NoError(t, s.AppendOutbox(ctx, a1), "again: left out")
	due("a-1", "b-4")
	update(a1, state.Pending, noon.Add(time.Hour))
	require.Equal(t, noon.Add(time.Hour), due("b-4"), "what waits holds back its alarm")
	update(a1, state.Dead, noon)
	require.True(t, due("a-2", "b-4").IsZero(), "a dead one does not")
	update(a3, state.Delivered, noon)
	due("a-2", "b-4")
	update(a1, state.Pending, noon)
	due("a-1", "b-4")
	update(a1, state.Delivered, noon)
	update(b4, state.Delivered, noon)
	update(message("noc", "z", 9), state.Delivered, noon)
	due("a-2")

	update(a2, state.Dead, noon)
	require.NoError(t, s.AppendOutbox(ctx, b4, message("noc", "a", 5)))
	due("b-4", "a-5")
	list, err := s.ListOutbox(ctx, "noc", state.Dead, 0)
	require.NoError(t, err)
	a2.State, a2.Attempts, a2.LastError = state.Dead, 1, "answered 500 \ufffd"
	require.Equal(t, []state.OutboxRow{a2}, list)
	all, err := s.ListOutbox(ctx, "", "", 3)
	require.NoError(t, err)
	require.Len(t, all, 3)
	count, err := s.CountOutbox(ctx, "noc")
	require.NoError(t, err)
	require.Equal(t, state.OutboxCount{Pending: 2, Dead: 1, Oldest: b4.Created}, count)
	count, err = s.CountOutbox(ctx, "nobody")
	require.NoError(t, err)
	require.Zero(t, count)
}

func testBaselines(t *testing.T, p place) {
	s := opened(t, p)
	row := func(unit string, version int, body string) state.BaselineRow {
		return state.BaselineRow{Unit: unit, Version: version, Accepted: noon, By: "kim\x00", Body: []byte(body)}
	}
	one, two, other := row("u1", 1, `1`), row("u1", 2, `2`), row("u2", 1, `3`)
	require.NoError(t, s.AppendBaselines(ctx, []state.BaselineRow{one, other}))
	require.NoError(t, s.AppendBaselines(ctx, []state.BaselineRow{one, two}), "the same again, as after an unknown outcome")
	err := s.AppendBaselines(ctx, []state.BaselineRow{row("u3", 1, `4`), row("u2", 1, `5`)})
	require.ErrorIs(t, err, state.ErrConflict)
	require.ErrorContains(t, err, `version 1 of unit "u2"`)
	got, err := s.Baselines(ctx)
	require.NoError(t, err)
	for _, r := range []*state.BaselineRow{&one, &two, &other} {
		r.By = "kim\ufffd"
	}
	require.Equal(t, []state.BaselineRow{one, two, other}, got, "nothing changed, nothing half added")
}

func testDocuments(t *testing.T, p place) {
	s := opened(t, p)
	var got map[string]int
	found, err := s.Load(ctx, "shelves", &got)
	require.NoError(t, err)
	require.False(t, found)
	require.NoError(t, s.Save(ctx, "shelves", map[string]int{"a": 1}))
	require.NoError(t, s.Save(ctx, "shelves", map[string]int{"b": 2}))
	require.Error(t, s.Save(ctx, "shelves", make(chan int)), "cannot be written as JSON")
	found, err = s.Load(ctx, "shelves", &got)
	require.NoError(t, err)
	require.True(t, found)
	require.Equal(t, map[string]int{"b": 2}, got)
	_, err = s.Load(ctx, "shelves", new(int))
	require.ErrorContains(t, err, "read document shelves")

	require.NoError(t, s.SaveAll(ctx, map[string]json.RawMessage{"a/1": []byte(`1`), "a/2": []byte(`2`), "a0": []byte(`3`), "A/1": []byte(`4`)}))
	require.NoError(t, s.SaveAll(ctx, map[string]json.RawMessage{"a/1": nil, "a/2": []byte(`{"n":5}`), "a/never": nil}))
	documents, err := s.Documents(ctx, "a/")
	require.NoError(t, err)
	require.Equal(t, map[string]json.RawMessage{"2": []byte(`{"n":5}`)}, documents)
	none, err := s.Documents(ctx, "b/")
	require.NoError(t, err)
	require.Empty(t, none)
}

func testManyAtOnce(t *testing.T, p place) {
	s := opened(t, p)
	var wg sync.WaitGroup
	for i := range 8 {
		wg.Go(func() {
			for n := range 20 {
				if err := s.AppendOutbox(ctx, message("noc", fmt.Sprint(i), n)); err != nil {
					t.Error(err)
				}
				if _, _, err := s.DueOutbox(ctx, "noc", noon, 4); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
	count, err := s.CountOutbox(ctx, "noc")
	require.NoError(t, err)
	require.Equal(t, 160, count.Pending)
}

func testAnEndedContextWritesNothing(t *testing.T, p place) {
	s := opened(t, p)
	ended, cancel := context.WithCancel(ctx)
	cancel()
	require.ErrorIs(t, s.Commit(ended, round(1, 1)), context.Canceled)
	require.NoError(t, s.Commit(ctx, round(1, 1)))
}
