package alarms_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
)

// mixedList has alarms of all kinds; the letters are their qualifiers.
func mixedList(t *testing.T) *alarms.List {
	l := alarms.NewList(alarms.ListConfig{})
	op := func(i int) alarms.Operation {
		return alarms.Operation{Operator: "amara", Now: at(time.Duration(i) * time.Minute), Until: at(24 * time.Hour)}
	}
	for i, row := range []struct {
		letter, resource, site string
		severity               alarms.Severity
		cleared                bool
		do                     func(string, alarms.Operation) (alarms.Alarm, error)
	}{
		{"a", "unit/r1", "north", alarms.Warning, false, nil},
		{"b", "unit/r1/temperature", "north", alarms.Minor, true, nil},
		{"c", "unit/r10", "north", alarms.Minor, true, l.Close},
		{"d", "link/r1", "south", alarms.Major, false, l.Close},
		{"e", "link/r1", "south", alarms.Major, false, l.Acknowledge},
		{"f", "cable/r1", "south", alarms.Critical, false, l.Shelve},
	} {
		u := alarms.Update{Key: alarms.Key{Resource: row.resource, Type: "t", Qualifier: row.letter}, Site: row.site, Active: true, Severity: row.severity, Text: "x"}
		l.Apply(at(time.Duration(i)*time.Minute), u)
		if u.Active = !row.cleared; row.cleared {
			l.Apply(at(time.Duration(i)*time.Minute), u)
		}
		if row.do != nil {
			_, err := row.do(alarms.NewID(u.Key), op(i))
			require.NoError(t, err)
		}
	}
	return l
}

func letters(as []alarms.Alarm) map[string]bool {
	out := map[string]bool{}
	for _, a := range as {
		out[a.Qualifier] = true
	}
	return out
}

var filterTable = []struct {
	name   string
	filter alarms.Filter
	want   string
}{
	{"zero", alarms.Filter{}, "abcde"},
	{"any", alarms.Filter{Clearance: alarms.ClearanceAny}, "abcde"},
	{"cleared", alarms.Filter{Clearance: alarms.ClearanceCleared}, "bc"},
	{"not cleared", alarms.Filter{Clearance: alarms.ClearanceNotCleared}, "ade"},
	{"older", alarms.Filter{ChangedBefore: at(2 * time.Minute)}, "ab"},
	{"below is strict", alarms.Filter{Below: alarms.Minor}, "a"},
	{"is", alarms.Filter{Is: alarms.Minor}, "bc"},
	{"above is strict", alarms.Filter{Above: alarms.Minor}, "de"},
	{"operator state", alarms.Filter{Operator: alarms.OperatorClosed}, "cd"},
	{"operator name", alarms.Filter{OperatorName: "amara"}, "cde"},
	{"site", alarms.Filter{Site: "south"}, "de"},
	{"resource and below", alarms.Filter{Resource: "unit/r1"}, "ab"},
	{"resource kind", alarms.Filter{Resource: "link/"}, "de"},
	{"type", alarms.Filter{Type: "other"}, ""},
	{"shelved", alarms.Filter{Shelving: alarms.ShelvingOnly}, "f"},
	{"shelved and not", alarms.Filter{Shelving: alarms.ShelvingAny}, "abcdef"},
	{"criteria are ANDed", alarms.Filter{Clearance: alarms.ClearanceNotCleared, Operator: alarms.OperatorClosed}, "d"},
}

func TestFilterAndPurge(t *testing.T) {
	for _, tc := range filterTable {
		t.Run(tc.name, func(t *testing.T) {
			l := mixedList(t)
			want := map[string]bool{}
			for _, r := range tc.want {
				want[string(r)] = true
			}
			require.Equal(t, want, letters(l.Alarms(tc.filter)))
			n, err := l.Purge(tc.filter, alarms.Operation{Operator: "amara", Now: at(time.Hour)})
			require.NoError(t, err)
			require.Equal(t, len(want), n)
			require.Empty(t, l.Alarms(tc.filter))
			require.Len(t, l.Alarms(alarms.Filter{Shelving: alarms.ShelvingAny}), 6-len(want))
		})
	}
}

func TestPurgedAlarmComesBackAsANewEntry(t *testing.T) {
	f := newFeed(t)
	f.apply(up(alarms.Major, "no light"), down())
	n, err := f.list.Purge(alarms.Filter{}, f.op("moved"))
	require.NoError(t, err)
	require.Equal(t, 1, n)
	require.Equal(t, []string{"purged"}, f.took())
	f.apply(up(alarms.Major, "no light"))
	require.Equal(t, at(3*time.Minute), f.get().Created)
	require.Len(t, f.get().Changes, 1)
	f.took()
	_, err = f.list.Purge(alarms.Filter{}, f.op(""))
	require.NoError(t, err)
	require.Equal(t, []string{"purged!"}, f.took(), "receivers know it as active: they hear that it is gone")
}

func TestCompress(t *testing.T) {
	f := newFeed(t)
	f.apply(up(alarms.Major, "no light"), down(), up(alarms.Minor, "little light"))
	f.list.Apply(f.now, alarms.Update{Key: alarms.Key{Resource: "unit/x", Type: "t"}, Active: true, Severity: alarms.Minor, Text: "x"})
	f.took()
	n, err := f.list.Compress(alarms.Filter{Is: alarms.Critical}, f.op(""))
	require.NoError(t, err)
	require.Zero(t, n)
	n, err = f.list.Compress(alarms.Filter{}, f.op("tidy"))
	require.NoError(t, err)
	require.Equal(t, 1, n, "the other one has a single change")
	require.Equal(t, []string{"compressed"}, f.took())
	last := f.all[len(f.all)-1]
	require.Equal(t, []string{"amara", "tidy"}, []string{last.Operator, last.Text}, "who did it is in the log of changes")
	_, err = f.list.Compress(alarms.Filter{}, alarms.Operation{})
	require.ErrorIs(t, err, alarms.ErrOperation)
	require.Len(t, f.get().Changes, 1)
	requireConsistent(t, f.get())
	f.apply(down())
	require.Len(t, f.get().Changes, 2)
}

// The columns of the alarm summary of RFC 8632; shelved alarms are left out.
func TestSummary(t *testing.T) {
	s := mixedList(t).Summary()
	require.Equal(t, map[alarms.Severity]alarms.SeverityCount{
		alarms.Warning:  {Total: 1, NotCleared: 1, NotClearedNotClosed: 1},
		alarms.Minor:    {Total: 2, Cleared: 2, ClearedNotClosed: 1, ClearedClosed: 1},
		alarms.Major:    {Total: 2, NotCleared: 2, NotClearedNotClosed: 1, NotClearedClosed: 1},
		alarms.Critical: {},
	}, s.Severities)
	require.True(t, s.ShelvesActive)
	require.False(t, alarms.NewList(alarms.ListConfig{}).Summary().ShelvesActive)
}
