package collector_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
)

func at(t *testing.T, text string) time.Time {
	t.Helper()
	v, err := time.Parse(time.RFC3339, text)
	require.NoError(t, err)
	return v
}

func TestScheduleNext(t *testing.T) {
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	require.NoError(t, err)
	for _, tt := range []struct {
		name, spec string
		loc        *time.Location
		from, want string
	}{
		{"interval on its grid", "@every 30s", nil, "2026-03-01T00:00:10Z", "2026-03-01T00:00:30Z"},
		{"interval, never the present", "@every 30s", nil, "2026-03-01T00:00:30Z", "2026-03-01T00:01:00Z"},
		{"below a second", "@every 250ms", nil, "2026-03-01T00:00:00Z", "2026-03-01T00:00:00.25Z"},
		{"five fields", "*/5 * * * *", nil, "2026-03-01T00:01:00Z", "2026-03-01T00:05:00Z"},
		{"site time in summer", "0 6 * * *", lisbon, "2026-07-01T00:00:00Z", "2026-07-01T05:00:00Z"},
		{"site time in winter", "0 6 * * *", lisbon, "2026-01-10T00:00:00Z", "2026-01-10T06:00:00Z"},
		{"descriptor", "@daily", nil, "2026-03-01T01:00:00Z", "2026-03-02T00:00:00Z"},
		{"leap day", "0 0 29 2 *", nil, "2026-03-01T00:00:00Z", "2028-02-29T00:00:00Z"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s, err := collector.ParseSchedule(tt.spec, tt.loc)
			require.NoError(t, err)
			require.Equal(t, at(t, tt.want), s.Next(at(t, tt.from)).UTC())
		})
	}
}

func TestScheduleFaults(t *testing.T) {
	for _, spec := range []string{"", "now and then", "@every", "@every x", "@every 0s", "@every -5s", "* * * *", "61 * * * *", "0 0 31 2 *", "TZ=UTC 0 0 * * *", "* * * * * *"} {
		_, err := collector.ParseSchedule(spec, nil)
		require.Error(t, err, "%q", spec)
	}
}

func TestScheduleCrowd(t *testing.T) {
	from := at(t, "2026-03-01T00:00:00Z")
	every, err := collector.ParseSchedule("@every 60s", nil)
	require.NoError(t, err)
	require.Equal(t, 15*time.Second, every.NextAt(from, 0.25).Sub(from))
	require.Equal(t, time.Minute, every.NextAt(from.Add(15*time.Second), 0.25).Sub(from.Add(15*time.Second)))

	hourly, err := collector.ParseSchedule("0 * * * *", nil)
	require.NoError(t, err)
	first := hourly.NextAt(from, 0.5)
	require.Equal(t, 30*time.Second, first.Sub(from), "spread over a minute at most")
	late := first.Add(-10 * time.Second)
	require.Equal(t, first, hourly.NextAt(late, 0.5), "the late member of a beginning that has passed still comes")
	require.Equal(t, time.Hour, hourly.NextAt(first, 0.5).Sub(first))

	require.Equal(t, time.Minute, every.Period(from))
	require.Equal(t, time.Hour, hourly.Period(from))
	require.Zero(t, collector.Schedule{}.Period(from))
	require.True(t, collector.Schedule{}.Next(from).IsZero())
}

func FuzzParseSchedule(f *testing.F) {
	for _, seed := range []string{"@every 30s", "*/5 * * * *", "0 0 29 2 *", "@daily", "@every 1ns", "59 23 31 12 6"} {
		f.Add(seed)
	}
	from := time.Date(2026, 3, 1, 0, 0, 0, 0, time.UTC)
	f.Fuzz(func(t *testing.T, spec string) {
		s, err := collector.ParseSchedule(spec, nil)
		if err != nil {
			return
		}
		if next := s.NextAt(from, 0.5); !next.After(from) {
			t.Fatalf("%q: next %s is not after %s", spec, next, from)
		}
	})
}

func TestRestarted(t *testing.T) {
	const day = 24 * time.Hour
	for _, tt := range []struct {
		name                 string
		before, now, elapsed time.Duration
		want                 bool
	}{
		{"goes on", day, day + time.Minute, time.Minute, false},
		{"a clock a little slow", day, day + 59*time.Second, time.Minute, false},
		{"back to zero", day, 5 * time.Second, time.Minute, true},
		{"back to zero soon after a start", 20 * time.Second, time.Second, 2 * time.Second, true},
		{"grew, but by less than the time that passed", 10 * time.Second, 10 * time.Minute, time.Hour, true},
		{"wrapped", collector.UptimeWrap - 10*time.Second, 50 * time.Second, time.Minute, false},
		{"wrapped after a long silence", collector.UptimeWrap - time.Hour, 23 * time.Hour, day, false},
		{"restart just before the wrap", collector.UptimeWrap - time.Hour, 5 * time.Second, time.Minute, true},
		{"restart in the minute of the wrap is taken for the wrap", collector.UptimeWrap - 30*time.Second, 20 * time.Second, time.Minute, false},
		{"the first minute", 0, 0, 10 * time.Second, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			require.Equal(t, tt.want, collector.Restarted(tt.before, tt.now, tt.elapsed))
		})
	}
	// RFC 3418 and RFC 2578 7.1.8: TimeTicks are hundredths modulo 2^32.
	require.Equal(t, 497*day+2*time.Hour+27*time.Minute+52*time.Second+960*time.Millisecond, collector.UptimeWrap)
}

func TestCalendar(t *testing.T) {
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	require.NoError(t, err)
	fleet := func(w ...collector.PlannedWork) *collector.Fleet {
		return collector.NewFleet(collector.Fleet{PlannedWork: w})
	}
	once := collector.PlannedWork{ID: "roof", Resources: []string{"site/quay"}, Start: "2026-05-02T08:00:00+01:00", Duration: 2 * time.Hour, Location: time.UTC}
	weekly := collector.PlannedWork{ID: "test", Resources: []string{"unit/a", "cable/c"}, Start: "0 22 * * 0", Duration: 3 * time.Hour, Location: lisbon}
	var c collector.Calendar
	_, ok := c.During([]string{"site/quay"}, time.Now())
	require.False(t, ok, "the zero calendar")
	require.NoError(t, c.SetFleet(fleet(once, weekly)))
	for _, tt := range []struct {
		name, now, resource, want string
	}{
		{"before", "2026-05-02T06:59:59Z", "site/quay", ""},
		{"begin is inside", "2026-05-02T07:00:00Z", "site/quay", "roof"},
		{"last second", "2026-05-02T08:59:59Z", "site/quay", "roof"},
		{"end is outside", "2026-05-02T09:00:00Z", "site/quay", ""},
		{"another resource", "2026-05-02T08:00:00Z", "site/pier", ""},
		{"recurring, summer time", "2026-07-05T21:00:00Z", "cable/c", "test"},
		{"recurring, over midnight", "2026-07-05T23:59:00Z", "unit/a", "test"},
		{"recurring, over", "2026-07-06T00:00:00Z", "unit/a", ""},
		{"recurring, another day", "2026-07-06T21:30:00Z", "unit/a", ""},
	} {
		t.Run(tt.name, func(t *testing.T) {
			w, ok := c.During([]string{"link/x", tt.resource}, at(t, tt.now))
			require.Equal(t, tt.want, w.ID)
			require.Equal(t, tt.want != "", ok)
		})
	}
	for _, w := range []collector.PlannedWork{{ID: "x", Start: "never", Duration: time.Hour}, {ID: "x", Start: "@daily"}} {
		require.ErrorContains(t, c.SetFleet(fleet(w)), `planned work "x"`)
	}
	_, ok = c.During([]string{"site/quay"}, at(t, "2026-05-02T08:00:00Z"))
	require.True(t, ok, "a faulty fleet leaves the old calendar in force")
}
