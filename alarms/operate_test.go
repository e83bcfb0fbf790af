package alarms_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

func (f *feed) op(text string) alarms.Operation {
	return alarms.Operation{Operator: "amara", Text: text, Now: f.now}
}

func (f *feed) until(d time.Duration) alarms.Operation {
	op := f.op("waiting for a part")
	op.Until = f.now.Add(d)
	return op
}

func TestOperatorsAndResourceAreIndependent(t *testing.T) {
	f := newFeed(t)
	f.apply(up(alarms.Major, "no light"))
	a, err := f.list.Acknowledge(f.id, f.op("on my way"))
	require.NoError(t, err)
	require.Equal(t, alarms.OperatorAck, a.Operator)
	require.Equal(t, f.get(), a)
	a, err = f.list.Comment(f.id, f.op("roof door is locked"))
	require.NoError(t, err)
	require.Equal(t, alarms.OperatorAck, a.Operator, "a comment changes nothing else")
	require.True(t, a.Actions[0].Time.After(a.Actions[1].Time))
	f.apply(down(), up(alarms.Major, "no light"))
	require.Equal(t, alarms.OperatorAck, f.get().Operator, "a new raise does not reset it")
	a, err = f.list.Close(f.id, f.op(""))
	require.NoError(t, err)
	require.Equal(t, alarms.OperatorClosed, a.Operator)
	require.False(t, a.Cleared)
	a, err = f.list.Reopen(f.id, f.op(""))
	require.NoError(t, err)
	require.Equal(t, alarms.OperatorNone, a.Operator)
	require.Len(t, a.Actions, 4)
	require.Len(t, a.Changes, 3, "operators make no status changes")
	require.Equal(t, []string{"acknowledged!", "commented!", "cleared!", "raised!", "closed!", "reopened!"}, func() []string {
		f.changes = f.all[1:]
		return f.took()
	}())
	require.Equal(t, "amara", f.all[1].Operator)
	require.Equal(t, "on my way", f.all[1].Text)
}

func TestOperationsThatAreRefused(t *testing.T) {
	f := newFeed(t)
	f.apply(up(alarms.Major, "no light"))
	version := f.get().Version
	stale := f.op("")
	stale.IfVersion = version + 1
	for _, tc := range []struct {
		name string
		do   func() (alarms.Alarm, error)
		want error
	}{
		{"unknown id", func() (alarms.Alarm, error) { return f.list.Close("none", f.op("")) }, alarms.ErrNoAlarm},
		{"other version", func() (alarms.Alarm, error) { return f.list.Close(f.id, stale) }, alarms.ErrChanged},
		{"nobody", func() (alarms.Alarm, error) { return f.list.Close(f.id, alarms.Operation{}) }, alarms.ErrOperation},
		{"long text", func() (alarms.Alarm, error) { return f.list.Close(f.id, f.op(strings.Repeat("x", 2001))) }, alarms.ErrOperation},
		{"empty comment", func() (alarms.Alarm, error) { return f.list.Comment(f.id, f.op("")) }, alarms.ErrOperation},
		{"shelf without end", func() (alarms.Alarm, error) { return f.list.Shelve(f.id, f.op("")) }, alarms.ErrOperation},
		{"shelf in the past", func() (alarms.Alarm, error) { return f.list.Shelve(f.id, f.until(-time.Hour)) }, alarms.ErrOperation},
		{"shelf for ever", func() (alarms.Alarm, error) { return f.list.Shelve(f.id, f.until(31*24*time.Hour)) }, alarms.ErrOperation},
		{"not on a shelf", func() (alarms.Alarm, error) { return f.list.Unshelve(f.id, f.op("")) }, alarms.ErrNotShelved},
	} {
		t.Run(tc.name, func(t *testing.T) {
			_, err := tc.do()
			require.ErrorIs(t, err, tc.want)
			require.Equal(t, version, f.get().Version)
		})
	}
	fits := f.op("")
	fits.IfVersion = version
	a, err := f.list.Acknowledge(f.id, fits)
	require.NoError(t, err)
	require.Greater(t, a.Version, version)
}

func TestShelve(t *testing.T) {
	for _, tc := range []struct {
		name     string
		onShelf  []alarms.Update
		want     []string // while it lies there
		atReturn []string
	}{
		{"nothing happens", nil, nil, []string{"unshelved!"}},
		{"cleared meanwhile", []alarms.Update{down()}, []string{"cleared"}, []string{"unshelved!", "cleared!"}},
		{"cleared and raised", []alarms.Update{down(), up(alarms.Major, "no light")}, []string{"cleared", "raised"}, []string{"unshelved!"}},
		{"worse meanwhile", []alarms.Update{up(alarms.Critical, "no light")}, []string{"severity-changed"}, []string{"unshelved!", "severity-changed!"}},
		{"planned work meanwhile", []alarms.Update{held(up(alarms.Major, "no light"))}, []string{"held"}, []string{"unshelved"}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f := newFeed(t)
			f.apply(up(alarms.Major, "no light"))
			a, err := f.list.Shelve(f.id, f.until(time.Hour))
			require.NoError(t, err)
			require.Equal(t, alarms.Shelved, a.Operator)
			require.Equal(t, alarms.Shelved, a.Actions[0].State)
			require.Equal(t, alarms.OwnShelf, a.ShelfName)
			require.Equal(t, f.now.Add(time.Hour), a.ShelvedUntil)
			require.Equal(t, []string{"shelved"}, f.took())
			_, err = f.list.Close(f.id, f.op(""))
			require.ErrorIs(t, err, alarms.ErrShelved)
			_, err = f.list.Shelve(f.id, f.until(time.Hour))
			require.ErrorIs(t, err, alarms.ErrShelved)
			require.Empty(t, f.list.Alarms(alarms.Filter{}), "shelved alarms are in a list of their own")
			require.Len(t, f.list.Alarms(alarms.Filter{Shelving: alarms.ShelvingOnly}), 1)
			require.Equal(t, tc.want, f.apply(tc.onShelf...), "it keeps its state, silently")
			f.list.Expire(a.ShelvedUntil.Add(-time.Second))
			require.True(t, f.get().Shelved())
			f.list.Expire(a.ShelvedUntil)
			require.Equal(t, tc.atReturn, f.took())
			require.Equal(t, alarms.UnShelved, f.get().Operator)
			require.Contains(t, f.get().Actions[0].Text, `off shelf "own"`)
			requireConsistent(t, f.get())
		})
	}
}

func TestUnshelveByHand(t *testing.T) {
	f := newFeed(t)
	f.apply(held(up(alarms.Major, "no light")))
	_, err := f.list.Shelve(f.id, f.until(time.Hour))
	require.NoError(t, err)
	f.apply(up(alarms.Major, "no light")) // the work ends
	f.took()
	a, err := f.list.Unshelve(f.id, f.op("part is here"))
	require.NoError(t, err)
	require.Equal(t, alarms.UnShelved, a.Operator)
	require.Equal(t, []string{"unshelved!", "released!"}, f.took(), "it is announced now")
	require.True(t, a.Announced)
}

func TestShelvesWithCriteria(t *testing.T) {
	f := newFeed(t)
	raise := func(resource, typ string) alarms.Alarm {
		f.now = f.now.Add(time.Second)
		f.list.Apply(f.now, alarms.Update{Key: alarms.Key{Resource: resource, Type: typ}, Site: "north-quay", Active: true, Severity: alarms.Minor, Text: "x"})
		return f.alarm(resource, typ)
	}
	old := raise("unit/nq-roof/temperature", "temperature-out-of-range")
	require.NoError(t, f.list.SetShelves([]alarms.Shelf{
		{Name: "roof heat", Resource: "unit/nq-roof", Type: "temperature-out-of-range", Until: f.now.Add(time.Hour)},
		{Name: "roof", Resource: "unit/nq-roof", Until: f.now.Add(2 * time.Hour)},
		{Name: "elsewhere", Site: "south-quay", Until: f.now.Add(2 * time.Hour)},
	}, f.op("heat wave")))
	require.Equal(t, []string{"raised!", "shelved"}, f.took())
	require.Equal(t, "roof heat", f.alarm(old.Resource, old.Type).ShelfName, "the first that fits counts")
	require.Equal(t, "roof", raise("unit/nq-roof/supply_state/a", "supply-failed").ShelfName)
	require.Equal(t, []string{"raised", "shelved"}, f.took(), "shelved at birth: never announced")
	require.False(t, raise("unit/nq-roof2", "supply-failed").Shelved(), "parts of a resource are compared whole")
	require.True(t, f.list.Summary().ShelvesActive)
	_, err := f.list.Unshelve(old.ID, f.op(""))
	require.ErrorIs(t, err, alarms.ErrShelved)

	f.now = f.now.Add(time.Hour)
	f.list.Expire(f.now)
	require.Equal(t, "roof", f.alarm(old.Resource, old.Type).ShelfName, "the next that fits")
	require.Len(t, f.list.Shelves(), 2)
	f.took()
	require.NoError(t, f.list.SetShelves(nil, f.op("cool again")))
	require.ElementsMatch(t, []string{"unshelved!", "unshelved!", "released!"}, f.took())
	require.Empty(t, f.list.Shelves())
}

func TestShelvesThatAreRefused(t *testing.T) {
	f := newFeed(t)
	end := f.now.Add(time.Hour)
	for name, shelves := range map[string][]alarms.Shelf{
		"no name":     {{Until: end}},
		"own":         {{Name: alarms.OwnShelf, Until: end}},
		"double name": {{Name: "a", Until: end}, {Name: "a", Until: end}},
		"no end":      {{Name: "a"}},
	} {
		require.ErrorIs(t, f.list.SetShelves(shelves, f.op("")), alarms.ErrOperation, name)
	}
	require.ErrorIs(t, f.list.SetShelves(nil, alarms.Operation{}), alarms.ErrOperation)
	require.Empty(t, f.list.Shelves())
}

func TestShelvesByName(t *testing.T) {
	f := newFeed(t)
	f.apply(up(alarms.Major, "no light"))
	until := f.now.Add(time.Hour)
	require.NoError(t, f.list.PutShelf(alarms.Shelf{Name: "works", Site: "south-quay", Until: until}, f.op("")))
	require.False(t, f.get().Shelved())
	require.NoError(t, f.list.PutShelf(alarms.Shelf{Name: "works", Site: "north-quay", Until: until}, f.op("")))
	require.True(t, f.get().Shelved(), "it took the place of the first")
	require.Len(t, f.list.Shelves(), 1)
	require.Equal(t, "amara", f.list.Shelves()[0].Operator)
	require.ErrorIs(t, f.list.RemoveShelf("other", f.op("")), alarms.ErrNoShelf)
	require.NoError(t, f.list.RemoveShelf("works", f.op("")))
	require.False(t, f.get().Shelved())
}

// Shelves are stored with what they do to alarms, or nothing is changed.
func TestShelvesAreStored(t *testing.T) {
	full := errors.New("disk is full")
	var stored []alarms.Shelf
	r := newRig(t, alarms.EngineConfig{Commit: func(round alarms.Round) error {
		if full != nil {
			return full
		}
		if round.Shelves != nil {
			stored = *round.Shelves
		}
		return nil
	}})
	op := alarms.Operation{Operator: "amara", Now: r.now}
	shelf := alarms.Shelf{Name: "works", Site: "north-quay", Until: r.now.Add(time.Hour)}
	require.ErrorIs(t, r.list.PutShelf(shelf, op), alarms.ErrNotStored)
	require.Empty(t, r.list.Shelves())
	full = nil
	op.Now = r.now.Add(time.Minute)
	require.NoError(t, r.list.PutShelf(shelf, op))
	require.Equal(t, r.list.Shelves(), stored)

	again := alarms.NewList(alarms.ListConfig{})
	again.RestoreShelves(stored)
	again.Apply(op.Now, up(alarms.Major, "no light"))
	a, _ := again.Alarm(alarms.NewID(lostKey))
	require.Equal(t, "works", a.ShelfName, "it takes alarms after a restart")
	r.list.Expire(r.now.Add(2 * time.Hour))
	require.Empty(t, stored, "its end is stored too")
}

func TestActWithManyIsJudgedOneByOne(t *testing.T) {
	f := newFeed(t)
	f.apply(up(alarms.Major, "no light"))
	other := up(alarms.Minor, "warm")
	other.Key.Qualifier = "other"
	f.apply(other)
	b := alarms.NewID(other.Key)
	seen, _ := f.list.Alarm(b)

	f.changes = nil
	out, err := f.list.Act("acknowledge", []alarms.Target{{ID: f.id}, {ID: "gone"}, {ID: b, IfVersion: seen.Version + 1}}, f.op("shift"))
	require.NoError(t, err)
	require.NoError(t, out[0].Err)
	require.Equal(t, f.get(), out[0].Alarm)
	require.ErrorIs(t, out[1].Err, alarms.ErrNoAlarm)
	require.ErrorIs(t, out[2].Err, alarms.ErrChanged)
	require.ErrorContains(t, out[2].Err, `acknowledge alarm "`+b+`"`)
	after, _ := f.list.Alarm(b)
	require.Equal(t, seen, after)
	require.Equal(t, []string{"acknowledged!"}, f.took())

	out, err = f.list.Act("close", []alarms.Target{{ID: b, IfVersion: seen.Version}, {ID: b, IfVersion: seen.Version}}, f.op(""))
	require.NoError(t, err)
	require.NoError(t, out[0].Err)
	require.ErrorIs(t, out[1].Err, alarms.ErrChanged, "the first of the two has changed it")

	_, err = f.list.Act("explode", []alarms.Target{{ID: b}}, f.op(""))
	require.ErrorIs(t, err, alarms.ErrOperation)
	_, err = f.list.Act("close", []alarms.Target{{ID: b}, {ID: f.id}}, alarms.Operation{})
	require.ErrorContains(t, err, "close 2 alarms: operation not understood: operator is missing")
}
