package rules_test

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

func TestReach(t *testing.T) {
	for _, c := range []struct {
		name                  string
		err                   error
		unreachable, refusing string
		text                  string
	}{
		{"answers", nil, "clear", "clear", ""},
		{"silent", fmt.Errorf("poll: %w", collector.ErrNoAnswer), "major", "unknown", "room-1 does not answer."},
		{"malformed", fmt.Errorf("poll: %w", collector.ErrMalformed), "major", "unknown", "room-1 answers, but not to what it is asked."},
		{"cannot be asked", errors.New("no route"), "major", "unknown", "room-1 cannot be asked."},
		{"refused is an answer", fmt.Errorf("poll: %w", collector.ErrRefused), "clear", "major", ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 2)
			if c.err != nil {
				s.fail(c.err, "room-1")
			}
			s.expect(c.unreachable, rules.UnitUnreachable, "unit/room-1")
			s.expect(c.refusing, rules.CredentialsRefused, "unit/room-1")
			if c.text != "" {
				v := s.active(rules.UnitUnreachable, "unit/room-1")
				require.Contains(t, v.Text, c.text)
				require.Equal(t, []string{"link/l1"}, v.Details.Impacted)
				require.False(t, v.Direct)
			}
		})
	}
}

func TestAReaderWithoutReadings(t *testing.T) {
	s := pairs(t, 1)
	s.blank("roof-1")
	require.Equal(t, "roof-1: room-1 answers but has no reading of it. First check the fibre and the power of the unit.", s.active(rules.UnitUnreachable, "unit/roof-1").Text)
	s.expect("minor", rules.UnitUnreachable, "unit/roof-1")
	require.Equal(t, []string{"unit-unreachable unit/roof-1"}, s.standing())
	s.dim("room-1")
	require.Equal(t, []string{"optical-signal-lost " + roomRx}, s.standing(), "now it is known why")
	s.read("roof-1", "temperature", 20)
	s.inactive(rules.UnitUnreachable, "unit/roof-1")
}

func TestSite(t *testing.T) {
	const site = "site/quay"
	everybody := []string{"room-1", "roof-1", "room-2", "roof-2"}
	for _, c := range []struct {
		name string
		n    int
		do   func(*scene)
		want string
	}{
		{"all answer", 2, func(*scene) {}, "clear"},
		{"all silent", 2, func(s *scene) { s.fail(collector.ErrNoAnswer, everybody...) }, "major"},
		{"one of two silent, polled last", 2, func(s *scene) { s.polled("room-2", -time.Second); s.fail(collector.ErrNoAnswer, "room-1", "roof-1") }, "clear"},
		{"one of two silent, polled first: may be about to be read again", 2, func(s *scene) { s.fail(collector.ErrNoAnswer, "room-1", "roof-1"); s.polled("room-2", time.Second) }, "unknown"},
		{"one refuses", 2, func(s *scene) {
			s.fail(collector.ErrNoAnswer, "room-2", "roof-2")
			s.polled("room-1", -time.Second)
			s.fail(collector.ErrRefused, "room-1")
		}, "clear"},
		{"one never polled", 2, func(s *scene) { s.fail(collector.ErrNoAnswer, "room-1"); s.units["room-2"].Polled = time.Time{} }, "unknown"},
		{"a single unit is no site", 1, func(s *scene) { s.fail(collector.ErrNoAnswer, "room-1", "roof-1") }, "unknown"},
		{"answers, its alarm has yet to clear", 2, func(s *scene) { s.raise(rules.UnitUnreachable, "unit/room-1", alarms.Major) }, "unknown"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, c.n)
			c.do(s)
			s.expect(c.want, rules.UnitUnreachable, site)
		})
	}
	t.Run("one alarm", func(t *testing.T) {
		s := pairs(t, 2)
		s.fail(collector.ErrNoAnswer, everybody...)
		require.Equal(t, []string{"unit-unreachable site/quay"}, s.standing())
		v := s.active(rules.UnitUnreachable, site)
		require.Equal(t, []string{"link/l1", "link/l2"}, v.Details.Impacted)
		require.Contains(t, v.Text, "North Quay: none of the 2 units that are read directly answers")
	})
	t.Run("a round counts when all have been asked", func(t *testing.T) {
		s := pairs(t, 2)
		s.polled("room-2", 5*time.Second)
		s.fail(collector.ErrNoAnswer, everybody...)
		require.Equal(t, now, s.active(rules.UnitUnreachable, site).Seen)
	})
}

// TestASilentUnitThatIsDark: no answer and no light is no power.
func TestASilentUnitThatIsDark(t *testing.T) {
	s := pairs(t, 2)
	ownAddress(s)
	s.fail(collector.ErrNoAnswer, "room-1")
	s.units["room-1"].FirstFailure = now.Add(-time.Hour)
	s.dim("roof-1")
	require.Equal(t, []string{"unit-unreachable unit/room-1"}, s.standing())
	s.read("roof-1", "optical_receive_power", -3.2)
	s.say("roof-1", "optical_receive_state", collector.StateGood)
	s.shift("roof-1", "optical_receive_power", -2)
	require.ElementsMatch(t, []string{"unit-unreachable unit/room-1", "optical-signal-degraded unit/roof-1/optical_receive_power"}, s.standing(), "weak light has a cause of its own")
}

// TestASilentUnitAtACombiner: one of two equal inputs gone is 3 dB less.
func TestASilentUnitAtACombiner(t *testing.T) {
	s := star(t, 2)
	s.fail(collector.ErrNoAnswer, "room-2")
	s.shift("roof", "optical_receive_power", -3.01)
	require.Equal(t, []string{"unit-unreachable unit/room-2"}, s.standing())
}
