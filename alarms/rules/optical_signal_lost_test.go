package rules_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

const roomRx = "unit/room-1/optical_receive_power"

func key(kind, resource string) alarms.Key { return alarms.Key{Resource: resource, Type: kind} }

// TestDarkness: an analogue receiver works above -20 dBm and the smallest step
// of an SFF-8472 receiver is -40 dBm; the limit between them is ours.
func TestDarkness(t *testing.T) {
	for _, c := range []struct {
		name   string
		dbm    float64
		state  string
		raised bool
		want   string
	}{
		{"healthy", -3.2, collector.StateGood, false, "clear"},
		{"weak", -29.9, collector.StateGood, false, "clear"},
		{"at the threshold", -30, collector.StateGood, false, "critical"},
		{"no light", -45, collector.StateGood, false, "critical"},
		{"between, was dark", -28.1, collector.StateGood, true, "critical"},
		{"lit again", -28, collector.StateGood, true, "clear"},
		{"the unit says lost, whatever the level", -22, collector.StateLost, false, "critical"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			s.read("room-1", "optical_receive_power", c.dbm)
			s.say("room-1", "optical_receive_state", c.state)
			if c.raised {
				s.raise(rules.SignalLost, roomRx, alarms.Critical)
			}
			s.expect(c.want, rules.SignalLost, roomRx)
		})
	}
}

func TestDarknessNeedsAReading(t *testing.T) {
	for name, spoil := range map[string]func(*scene){
		"unavailable": func(s *scene) {
			s.quality("room-1", "optical_receive_power", collector.Unavailable)
			s.quality("room-1", "optical_receive_state", collector.Unavailable)
		},
		"broken": func(s *scene) {
			s.quality("room-1", "optical_receive_power", collector.Broken)
			s.quality("room-1", "optical_receive_state", collector.OutOfRange)
		},
		"silent": func(s *scene) { s.fail(collector.ErrNoAnswer, "room-1") },
	} {
		t.Run(name, func(t *testing.T) {
			s := pairs(t, 1)
			s.dim("room-1")
			spoil(s)
			s.unknown(rules.SignalLost, roomRx)
		})
	}
	t.Run("state alone is enough", func(t *testing.T) {
		s := pairs(t, 1)
		s.quality("room-1", "optical_receive_power", collector.Broken)
		s.inactive(rules.SignalLost, roomRx)
	})
}

func TestASingleFibre(t *testing.T) {
	s := pairs(t, 2)
	s.dim("room-1")
	s.blank("roof-1") // its readings travel over that fibre
	v := s.active(rules.SignalLost, roomRx)
	require.Equal(t, []string{"link/l1"}, v.Details.Impacted)
	require.InDelta(t, -45, *v.Details.Observed, 0)
	require.Equal(t, "room-1: no light from the downlink of link l1 (cable riser, strand 1); it was -3.2 dBm at the baseline of 2026-11-01. First check that the fibre is plugged in at both ends.", v.Text)
	require.Contains(t, v.Explains, key(rules.SignalDegraded, roomRx))
	require.Contains(t, v.Explains, key(rules.RFLevelDeviation, "unit/room-1/rf_output_level"))
	require.Contains(t, v.Explains, key(rules.UnitUnreachable, "unit/roof-1"))
	require.Equal(t, []string{"optical-signal-lost " + roomRx}, s.standing())
}

func TestAnUplinkAlone(t *testing.T) {
	s := pairs(t, 2)
	s.dim("roof-1")
	v := s.active(rules.SignalLost, "unit/roof-1/optical_receive_power")
	require.Contains(t, v.Text, "uplink of link l1 (cable riser, strand 2)")
	require.Equal(t, []string{"optical-signal-lost unit/roof-1/optical_receive_power"}, s.standing())
}

// TestCableCut: all strands of a cable dark, four links: one alarm.
func TestCableCut(t *testing.T) {
	s := pairs(t, 4)
	for i := 1; i <= 4; i++ {
		s.dim(fmt.Sprintf("room-%d", i))
		s.blank(fmt.Sprintf("roof-%d", i))
	}
	require.Equal(t, []string{"optical-signal-lost cable/riser"}, s.standing())
	v := s.active(rules.SignalLost, "cable/riser")
	require.True(t, v.Direct, "several receivers agree")
	require.ElementsMatch(t, []string{"link/l1", "link/l2", "link/l3", "link/l4"}, v.Details.Impacted)
	require.Contains(t, v.Text, "4 of its links are down: the cable is probably cut, or what it comes from has no power.")
	for i := 1; i <= 4; i++ {
		require.Contains(t, v.Explains, key(rules.SignalLost, fmt.Sprintf("unit/room-%d/optical_receive_power", i)))
		require.Contains(t, v.Explains, key(rules.SignalLost, fmt.Sprintf("unit/roof-%d/optical_receive_power", i)))
		require.Contains(t, v.Explains, key(rules.UnitUnreachable, fmt.Sprintf("unit/roof-%d", i)))
	}
}

func TestWhenACableIsTheCause(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(*scene)
		want string
	}{
		{"one fibre of two known", func(s *scene) { s.dim("room-1"); s.blank("roof-1") }, "unknown"},
		{"both fibres of the only link", func(s *scene) { ownAddress(s); s.dim("room-1", "roof-1") }, "critical"},
		{"one dark, one lit", func(s *scene) { ownAddress(s); s.dim("room-1") }, "unknown"},
		{"one dark, seen after the lit one", func(s *scene) { ownAddress(s); s.polled("roof-1", -time.Second); s.dim("room-1") }, "clear"},
		{"both lit", func(*scene) {}, "clear"},
		{"old readings of the far end do not count as light", func(s *scene) {
			s.dim("room-1")
			s.units["roof-1"].Polled = now
		}, "unknown"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			c.do(s)
			s.expect(c.want, rules.SignalLost, "cable/riser")
		})
	}
}

// ownAddress has the roof unit of a pair answer for itself.
func ownAddress(s *scene) {
	s.units["roof-1"].Unit.Via = ""
	s.fleet.Units[0].Via = ""
}

func TestACableOfOneStarNamesBothCauses(t *testing.T) {
	s := star(t, 3)
	s.dim("room-1", "room-2", "room-3")
	s.blank("roof")
	require.Equal(t, []string{"optical-signal-lost cable/riser"}, s.standing())
	require.Contains(t, s.active(rules.SignalLost, "cable/riser").Text, "cut, or roof, from which all of it comes, has no power")
}

// TestAUnitIsTheCause: what one roof unit feeds is dark in two cables, or in a
// cable that has light from elsewhere.
func TestAUnitIsTheCause(t *testing.T) {
	for name, spoil := range map[string]func(*scene){
		"two cables": func(s *scene) {
			s.fleet.Links[1].Downlink.Cable, s.fleet.Links[1].Uplink.Cable = "mast", "mast"
		},
		"light from elsewhere": func(s *scene) {
			s.unit("roof-9", collector.Outdoor, roofKind, "room-9")
			s.unit("room-9", collector.Indoor, rackKind, "")
			s.link("l9", "roof-9", "room-9", "riser", 9)
		},
		"one strand for all": func(s *scene) { s.fleet.Links[1].Downlink.Strand = 1 },
	} {
		t.Run(name, func(t *testing.T) {
			s := star(t, 2)
			spoil(s)
			s.dim("room-1", "room-2")
			s.blank("roof")
			require.Equal(t, []string{"optical-signal-lost unit/roof"}, s.standing())
			v := s.active(rules.SignalLost, "unit/roof")
			require.ElementsMatch(t, []string{"link/l1", "link/l2"}, v.Details.Impacted)
			require.Contains(t, v.Text, "lost power, or its laser has failed")
		})
	}
	t.Run("not when its laser is known to shine", func(t *testing.T) {
		s := star(t, 2)
		s.fleet.Links[1].Downlink.Cable = "mast"
		s.units["roof"].Unit.Via = ""
		s.dim("room-1", "room-2")
		s.unknown(rules.SignalLost, "unit/roof")
	})
}

// TestOneAtATime: while a cable is going dark, or coming back, poll by poll,
// no point alarm jumps the queue.
func TestOneAtATime(t *testing.T) {
	s := pairs(t, 3)
	for i, ago := range []time.Duration{0, -3 * time.Second, -2 * time.Second} {
		s.polled(fmt.Sprintf("room-%d", i+1), ago)
	}
	s.dim("room-1")
	s.blank("roof-1")
	v := s.active(rules.SignalLost, roomRx)
	require.False(t, v.Direct, "the others have not been looked at since")
	s.polled("room-2", time.Second)
	s.polled("room-3", time.Second)
	s.polled("roof-2", time.Second)
	s.polled("roof-3", time.Second)
	require.True(t, s.active(rules.SignalLost, roomRx).Direct, "now they have, and shine")
	s.unknown(rules.SignalLost, "cable/riser") // room-1 was read before the others
	s.polled("room-1", 2*time.Second)
	s.inactive(rules.SignalLost, "cable/riser")

	t.Run("a level is never direct", func(t *testing.T) {
		s.say("room-1", "optical_receive_state", collector.StateGood)
		require.False(t, s.active(rules.SignalLost, roomRx).Direct)
	})
}

func TestACableClearsAfterItsConsequences(t *testing.T) {
	s := pairs(t, 2)
	s.raise(rules.SignalLost, "cable/riser", alarms.Critical)
	s.raise(rules.SignalLost, roomRx, alarms.Critical)
	s.raise(rules.SignalLost, "unit/room-2/optical_receive_power", alarms.Critical)
	s.polled("room-2", -5*time.Second)
	s.dim("room-2")
	s.blank("roof-2")
	s.unknown(rules.SignalLost, "cable/riser") // room-2 was read before the light came back
	s.polled("room-2", 5*time.Second)
	s.unknown(rules.SignalLost, "cable/riser") // the alarm of room-1 has yet to clear
	delete(s.raised, key(rules.SignalLost, roomRx))
	s.inactive(rules.SignalLost, "cable/riser") // what is left is a fault of room-2's own fibre
	require.Equal(t, []string{"optical-signal-lost unit/room-2/optical_receive_power"}, s.standing())
}

// TestPorts: a roof unit with a receiver for each link, one with a combiner.
func TestPorts(t *testing.T) {
	kind := roofKind
	kind.Points = points("optical_receive_power/1", "optical_receive_power/2", "optical_receive_state/1", "optical_receive_state/2", "optical_transmit_power", "laser_state")
	s := newScene(t)
	s.unit("roof", collector.Outdoor, kind, "")
	for i := 1; i <= 2; i++ {
		s.unit(fmt.Sprintf("room-%d", i), collector.Indoor, rackKind, "")
		s.link(fmt.Sprintf("l%d", i), "roof", fmt.Sprintf("room-%d", i), "riser", 2*i-1)
	}
	s.read("roof", "optical_receive_power/2", -45)
	v := s.active(rules.SignalLost, "unit/roof/optical_receive_power/2")
	require.Equal(t, []string{"link/l2"}, v.Details.Impacted)
	s.inactive(rules.SignalLost, "unit/roof/optical_receive_power/1")

	t.Run("combiner", func(t *testing.T) {
		s := star(t, 3)
		s.dim("roof")
		v := s.active(rules.SignalLost, "unit/roof/optical_receive_power")
		require.ElementsMatch(t, []string{"link/l1", "link/l2", "link/l3"}, v.Details.Impacted)
	})
}

func TestAUnitWithAStateOnly(t *testing.T) {
	kind := rackKind
	kind.Points = points("optical_receive_state", "rf_output_level")
	s := newScene(t)
	s.unit("roof", collector.Outdoor, roofKind, "")
	s.unit("room-1", collector.Indoor, kind, "")
	s.link("l1", "roof", "room-1", "", 1)
	s.say("room-1", "optical_receive_state", collector.StateLost)
	v := s.active(rules.SignalLost, "unit/room-1/optical_receive_state")
	require.Nil(t, v.Details.Observed)
	require.NotContains(t, v.Text, "cable")
}

func TestAFleetThatIsHalfThere(t *testing.T) {
	s := newScene(t)
	s.unit("room-1", collector.Indoor, rackKind, "gone")
	s.link("l1", "gone", "room-1", "riser", 1)
	s.dim("room-1")
	for _, r := range rules.All() {
		require.NotPanics(t, func() { r.Judge(s.view()) })
	}
}

// TestDarknessInADip: while the mains may just have dipped, darkness from a
// laser of which nothing is known is not judged.
func TestDarknessInADip(t *testing.T) {
	for _, c := range []struct {
		name string
		do   func(*scene)
		want string
	}{
		{"nobody silent", func(*scene) {}, "critical"},
		{"another unit just silent", func(s *scene) {
			s.fail(collector.ErrNoAnswer, "room-2")
			s.units["room-2"].FirstFailure = now.Add(-89 * time.Second)
		}, "unknown"},
		{"another unit silent for longer", func(s *scene) {
			s.fail(collector.ErrNoAnswer, "room-2")
			s.units["room-2"].FirstFailure = now.Add(-90 * time.Second)
		}, "critical"},
		{"another unit just started", func(s *scene) { s.units["room-2"].StartedAt = now.Add(-89 * time.Second) }, "unknown"},
		{"the laser is known to shine", func(s *scene) {
			ownAddress(s)
			s.read("roof-1", "optical_transmit_power", 1.5)
			s.units["room-2"].StartedAt = now.Add(-time.Second)
		}, "critical"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 2)
			s.dim("room-1")
			s.blank("roof-1")
			c.do(s)
			s.expect(c.want, rules.SignalLost, roomRx)
			s.dim("room-2")
			if !s.units["room-2"].Up() {
				return
			}
			s.expect(c.want, rules.SignalLost, "cable/riser")
		})
	}
}
