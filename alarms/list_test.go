package alarms_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

var lostKey = alarms.Key{Resource: nqPower, Type: "optical-signal-lost"}

// up and down are updates of one alarm.
func up(s alarms.Severity, text string) alarms.Update {
	return alarms.Update{Key: lostKey, Site: "north-quay", Active: true, Severity: s, Text: text}
}

func down() alarms.Update { return alarms.Update{Key: lostKey, Site: "north-quay"} }

func held(u alarms.Update) alarms.Update {
	u.Hold = alarms.Hold{Reason: alarms.HoldPlannedWork, By: "riser-works"}
	return u
}

// feed applies the updates one minute apart and returns the changes as
// rig.took does.
type feed struct {
	*rig
	id string
}

func newFeed(t *testing.T) *feed {
	return &feed{newRig(t, alarms.EngineConfig{}), alarms.NewID(lostKey)}
}

func (f *feed) apply(us ...alarms.Update) []string {
	for _, u := range us {
		f.now = f.now.Add(time.Minute)
		f.list.Apply(f.now, u)
	}
	return f.took()
}

func (f *feed) get() alarms.Alarm {
	a, ok := f.list.Alarm(f.id)
	require.True(f, ok)
	return a
}

func TestLifeCycle(t *testing.T) {
	major, minor := up(alarms.Major, "no light"), up(alarms.Minor, "no light")
	for _, tc := range []struct {
		name    string
		updates []alarms.Update
		want    []string
		history int
	}{
		{"inactive and unknown: no entry", []alarms.Update{down()}, nil, 0},
		{"raise", []alarms.Update{major}, []string{"raised!"}, 1},
		{"the same again says nothing", []alarms.Update{major, major}, []string{"raised!"}, 1},
		{"severity", []alarms.Update{major, minor}, []string{"raised!", "severity-changed!"}, 2},
		{"text", []alarms.Update{major, up(alarms.Major, "no light at all")}, []string{"raised!", "text-changed!"}, 2},
		{"an empty text changes nothing", []alarms.Update{major, up(alarms.Major, "")}, []string{"raised!"}, 1},
		{"clear once", []alarms.Update{major, down(), down()}, []string{"raised!", "cleared!"}, 2},
		{"raise again: the same entry", []alarms.Update{major, down(), minor}, []string{"raised!", "cleared!", "raised!"}, 3},
		{"RFC 8632: severity, text and clearance make history", []alarms.Update{minor, major, up(alarms.Major, "x"), down(), major},
			[]string{"raised!", "severity-changed!", "text-changed!", "cleared!", "raised!"}, 5},
		{"held from the start, released", []alarms.Update{held(major), major}, []string{"raised", "released!"}, 1},
		{"held from the start, gone", []alarms.Update{held(major), down()}, []string{"raised", "cleared"}, 2},
		{"held: severity is silent, release tells", []alarms.Update{held(minor), held(major), major}, []string{"raised", "severity-changed", "released!"}, 2},
		{"announced, then held, gone: the clear is told", []alarms.Update{major, held(major), down()}, []string{"raised!", "held", "cleared!"}, 2},
		{"announced, held, released unchanged", []alarms.Update{major, held(major), major}, []string{"raised!", "held", "released"}, 1},
		{"announced, held, worse, released", []alarms.Update{minor, held(minor), held(major), major},
			[]string{"raised!", "held", "severity-changed", "released", "severity-changed!"}, 2},
		{"worse at the moment of release", []alarms.Update{held(minor), major}, []string{"raised", "severity-changed", "released!"}, 2},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f := newFeed(t)
			require.Equal(t, tc.want, f.apply(tc.updates...))
			if tc.history == 0 {
				_, ok := f.list.Alarm(f.id)
				require.False(t, ok)
				return
			}
			require.Len(t, f.get().Changes, tc.history)
			requireConsistent(t, f.get())
		})
	}
}

// requireConsistent checks what RFC 8632 says of every entry of the list.
func requireConsistent(t require.TestingT, a alarms.Alarm) {
	require.NotEmpty(t, a.Changes)
	require.LessOrEqual(t, len(a.Changes), alarms.MaxStatusChanges)
	require.Equal(t, a.State(), a.Changes[0].Severity, "newest change corresponds to severity and clearance")
	require.Equal(t, a.Text, a.Changes[0].Text)
	require.Equal(t, a.LastChanged, a.Changes[0].Time)
	require.NotEqual(t, alarms.Cleared, a.Severity, "the severity of an alarm is never cleared")
	for i := 1; i < len(a.Changes); i++ {
		require.True(t, a.Changes[i-1].Time.After(a.Changes[i].Time), "times are distinct, newest first")
	}
	require.False(t, a.LastRaised.Before(a.Created))
	require.Equal(t, alarms.NewID(a.Key), a.ID)
}

func TestTimesOfAnAlarm(t *testing.T) {
	f := newFeed(t)
	raise := up(alarms.Major, "no light")
	raise.Time = at(-30 * time.Second)
	f.apply(raise)
	require.Equal(t, at(-30*time.Second), f.get().LastRaised, "the time is that of the resource")
	gone := down()
	gone.Time = raise.Time
	f.apply(gone)
	require.Equal(t, at(-30*time.Second+time.Microsecond), f.get().LastChanged, "no two changes share a time")
	raise.Time = at(time.Hour)
	f.apply(raise)
	require.Equal(t, at(3*time.Minute), f.get().LastRaised, "never in the future")
	require.Equal(t, at(-30*time.Second), f.get().Created)
	require.Equal(t, at(3*time.Minute), f.list.LastChanged())
}

// RFC 8632, max-alarm-status-changes: default 32, the oldest is dropped.
func TestRingOfStatusChanges(t *testing.T) {
	f := newFeed(t)
	for i := range 40 {
		f.apply(up(alarms.Major, fmt.Sprintf("text %d", i)))
	}
	a := f.get()
	require.Len(t, a.Changes, 32)
	require.Equal(t, "text 39", a.Changes[0].Text)
	require.Equal(t, "text 8", a.Changes[31].Text)
	requireConsistent(t, a)
}

func TestDetailsAreNoStatusChange(t *testing.T) {
	f := newFeed(t)
	u := up(alarms.Major, "no light")
	f.apply(u)
	before := f.get()
	value := -31.5
	u.Details = alarms.Details{Observed: &value, Impacted: []string{"link/nq"}}
	u.Related = []alarms.Key{{Resource: "cable/nq-riser", Type: "optical-signal-lost"}}
	require.Empty(t, f.apply(u))
	after := f.get()
	require.Equal(t, before.Version, after.Version, "a conditional update must not fail for it")
	require.Equal(t, u.Details, after.Details)
	require.Equal(t, u.Related, after.Related)
	value, u.Details.Impacted[0] = 0, "link/other"
	*after.Details.Observed = 1
	after.Changes[0].Text = "x"
	require.Equal(t, -31.5, *f.get().Details.Observed, "values are copies")
	require.Equal(t, []string{"link/nq"}, f.get().Details.Impacted)
	require.Equal(t, "no light", f.get().Changes[0].Text)
}

func TestOrderOfTheList(t *testing.T) {
	l := alarms.NewList(alarms.ListConfig{})
	add := func(resource string, s alarms.Severity, minute int, active bool) {
		u := alarms.Update{Key: alarms.Key{Resource: resource, Type: "t"}, Active: true, Severity: s, Text: "x"}
		l.Apply(at(time.Duration(minute)*time.Minute), u)
		u.Active = active
		l.Apply(at(time.Duration(minute)*time.Minute), u)
	}
	add("e", alarms.Critical, 9, false)
	add("d", alarms.Minor, 1, true)
	add("b", alarms.Major, 2, true)
	add("a", alarms.Major, 3, true)
	add("c", alarms.Major, 2, true)
	var got []string
	for _, a := range l.Alarms(alarms.Filter{}) {
		got = append(got, a.Resource)
	}
	require.Equal(t, []string{"a", "b", "c", "d", "e"}, got)
	n := 0
	l.Each(alarms.Filter{}, func(*alarms.Alarm) bool { n++; return n < 2 })
	require.Equal(t, 2, n)
}

func TestRestore(t *testing.T) {
	f := newFeed(t)
	f.apply(up(alarms.Major, "no light"), held(up(alarms.Major, "no light")))
	_, err := f.list.Acknowledge(f.id, alarms.Operation{Operator: "amara", Now: f.now})
	require.NoError(t, err)
	saved := f.list.Alarms(alarms.Filter{})

	var heard []alarms.Change
	l := alarms.NewList(alarms.ListConfig{Sink: func(cs []alarms.Change) { heard = append(heard, cs...) }})
	l.Restore(saved)
	require.Empty(t, heard)
	require.Equal(t, saved, l.Alarms(alarms.Filter{}))
	l.Apply(f.now.Add(time.Minute), down())
	require.Len(t, heard, 1)
	require.True(t, heard[0].Notify, "it was announced before the restart")
	require.Greater(t, heard[0].Seq, saved[0].Version)
}

// The rows of RFC 8632, notify-status-changes. The first is the example
// printed there for severity-level; the others follow from its rules.
func TestNotifyModes(t *testing.T) {
	w, mi, ma, cr, cl := alarms.Warning, alarms.Minor, alarms.Major, alarms.Critical, alarms.Cleared
	for _, tc := range []struct {
		name   string
		mode   alarms.NotifyMode
		level  alarms.Severity
		states []alarms.Severity
		sent   []int // places in states
	}{
		{"severity-level major", alarms.NotifySeverityLevel, ma, []alarms.Severity{ma, mi, w, mi, ma, cr, ma, cl}, []int{1, 2, 5, 6, 7, 8}},
		{"below the level only the clear", alarms.NotifySeverityLevel, ma, []alarms.Severity{w, cl}, []int{2}},
		{"a text at the level", alarms.NotifySeverityLevel, ma, []alarms.Severity{ma, ma}, []int{1, 2}},
		{"a text below the level", alarms.NotifySeverityLevel, ma, []alarms.Severity{mi, mi}, nil},
		{"raise and clear", alarms.NotifyRaiseAndClear, 0, []alarms.Severity{mi, ma, ma, cl, ma}, []int{1, 4, 5}},
		{"all", alarms.NotifyAllStateChanges, 0, []alarms.Severity{mi, ma, ma, cl, mi}, []int{1, 2, 3, 4, 5}},
	} {
		t.Run(tc.name, func(t *testing.T) {
			f := newFeed(t)
			before := cl
			var passed, sent []int
			for i, s := range tc.states {
				if tc.mode.Passes(tc.level, before, s) {
					passed = append(passed, i+1)
				}
				before = s
				u := up(s, fmt.Sprint("text ", i))
				if s == cl {
					u = down()
				}
				f.apply(u)
				if c := f.all[len(f.all)-1]; tc.mode.Sends(tc.level, c) {
					sent = append(sent, i+1)
				}
			}
			require.Equal(t, tc.sent, passed)
			require.Equal(t, tc.sent, sent, "Sends finds the same from the changes of the list")
			require.Len(t, f.get().Changes, len(tc.states))
		})
	}
	require.True(t, alarms.NotifyRaiseAndClear.Sends(0, alarms.Change{Kind: alarms.Acknowledged}), "what operators do passes")
	released := alarms.Change{Kind: alarms.Released, Alarm: alarms.Alarm{Severity: ma}}
	require.True(t, alarms.NotifyRaiseAndClear.Sends(0, released), "a release announces")
}
