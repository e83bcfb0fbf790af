package rules_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

const theSite = "site/quay"

func TestMainsLost(t *testing.T) {
	failed := func(s *scene, rooms ...string) {
		for _, r := range rooms {
			s.say(r, "supply_state/a", collector.StateFailed)
		}
	}
	for _, c := range []struct {
		name   string
		happen func(*scene)
		want   string
	}{
		{"sound", func(*scene) {}, "clear"},
		{"one unit", func(s *scene) { failed(s, "room-1") }, "clear"},
		{"two of three", func(s *scene) { failed(s, "room-1", "room-2") }, "clear"},
		{"all", func(s *scene) { failed(s, "room-1", "room-2", "room-3") }, "major"},
		{"all, the third not polled since", func(s *scene) { failed(s, "room-1", "room-2"); s.polled("room-3", -time.Minute) }, "major"},
		{"two, just found, the third polled before them", func(s *scene) {
			failed(s, "room-1", "room-2")
			s.gone(0, "room-1", "room-2")
			s.polled("room-3", -time.Second)
		}, "major"},
		{"two, found twice, the third polled in between", func(s *scene) {
			failed(s, "room-1", "room-2")
			s.gone(-time.Minute, "room-1", "room-2")
			s.polled("room-3", -time.Second)
		}, "clear"},
		{"two, one of them found twice", func(s *scene) {
			failed(s, "room-1", "room-2")
			s.gone(-time.Minute, "room-1")
			s.gone(0, "room-2")
			s.polled("room-3", -time.Second)
		}, "clear"},
		{"all but one that came back, one of them polled since", func(s *scene) {
			s.raise(rules.MainsLost, theSite, alarms.Major)
			failed(s, "room-1", "room-2")
			s.gone(-time.Hour, "room-1", "room-2")
			s.polled("room-1", -time.Minute)
			s.polled("room-3", -time.Second)
		}, "clear"},
		{"all but one that is silent", func(s *scene) { failed(s, "room-1", "room-2"); s.fail(collector.ErrNoAnswer, "room-3", "roof-3") }, "critical"},
		{"one, and the others are silent", func(s *scene) {
			failed(s, "room-1")
			s.fail(collector.ErrNoAnswer, "room-2", "room-3", "roof-2", "roof-3")
		}, "critical"},
		{"all, and light is gone", func(s *scene) { failed(s, "room-1", "room-2", "room-3"); s.dim("room-2") }, "critical"},
		{"one came back, the others not polled since", func(s *scene) {
			failed(s, "room-1", "room-2")
			s.polled("room-1", -time.Minute)
			s.polled("room-2", -time.Minute)
		}, "unknown"},
		{"silent altogether", func(s *scene) {
			s.fail(collector.ErrNoAnswer, "room-1", "room-2", "room-3", "roof-1", "roof-2", "roof-3")
		}, "unknown"},
		{"back, but an alarm has yet to clear", func(s *scene) { s.raise(rules.SupplyRedundancy, supplyA, alarms.Minor) }, "unknown"},
		{"batteries empty by now", func(s *scene) {
			s.raise(rules.MainsLost, theSite, alarms.Major)
			s.fail(collector.ErrNoAnswer, "room-1", "room-2", "room-3", "roof-1", "roof-2", "roof-3")
		}, "critical"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 3)
			c.happen(s)
			s.expect(c.want, rules.MainsLost, theSite)
			if c.want == "major" || c.want == "critical" {
				require.Equal(t, []string{"mains-lost site/quay"}, s.standing())
			}
		})
	}
}

// TestMainsOnTheSecondFeed: nothing is impacted while the other supply
// carries the units, and X.733 wants to know which.
func TestMainsOnTheSecondFeed(t *testing.T) {
	s := pairs(t, 2)
	s.say("room-1", "supply_state/a", collector.StateFailed)
	s.say("room-2", "supply_state/a", collector.StateFailed)
	v := s.active(rules.MainsLost, theSite)
	require.True(t, v.Details.BackedUp)
	require.Equal(t, supplyB, v.Details.BackupObject)
	require.Empty(t, v.Details.Impacted)
	require.Equal(t, "North Quay: its units have lost a supply together and run on the other one: the mains of the site, or one feed, is gone. First ask at the site whether there is power.", v.Text)

	s.fail(collector.ErrNoAnswer, "room-2", "roof-2")
	s.expect("critical", rules.MainsLost, theSite)
	s.units["room-2"].FirstFailure = now.Add(-2 * time.Hour)
	s.unknown(rules.MainsLost, theSite) // one unit's own trouble, and another that was silent before
}

// TestSuppliesThatFailedOneAfterTheOther are two faults.
func TestSuppliesThatFailedOneAfterTheOther(t *testing.T) {
	s := pairs(t, 2)
	s.say("room-1", "supply_state/a", collector.StateFailed)
	s.say("room-2", "supply_state/b", collector.StateFailed)
	for _, c := range []struct {
		before time.Duration
		active bool
	}{{0, true}, {59 * time.Minute, true}, {61 * time.Minute, false}} {
		v := s.view()
		v.Since = func(k alarms.Key) time.Time {
			if k.Resource == supplyA && k.Type == rules.SupplyRedundancy {
				return now.Add(-c.before)
			}
			return time.Time{}
		}
		verdicts := ruleOf(t, rules.MainsLost).Judge(v)
		require.Equal(t, c.active, len(verdicts) == 1 && verdicts[0].Active, c.before)
	}
}

// gone has units without a supply since then.
func (s *scene) gone(since time.Duration, units ...string) {
	for _, u := range units {
		s.units[u].SupplyGone = now.Add(since)
	}
}
