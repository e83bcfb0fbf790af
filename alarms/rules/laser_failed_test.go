package rules_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

const roofLaser = "unit/roof/optical_transmit_power"

// ownStar is a star whose roof unit answers for itself.
func ownStar(t testing.TB, n int) *scene {
	s := star(t, n)
	s.units["roof"].Unit.Via, s.fleet.Units[0].Via = "", ""
	return s
}

func TestLaserFailed(t *testing.T) {
	for _, c := range []struct {
		name, state string
		dbm         float64
		raised      bool
		want        string
		direct      bool
	}{
		{"on", collector.StateOn, 1.5, false, "clear", false},
		{"reported failed", collector.StateFailed, -45, false, "critical", true},
		{"reported off", collector.StateOff, -45, false, "critical", true},
		{"reported on, no power", collector.StateOn, -45, false, "critical", false},
		{"power at the threshold", collector.StateOn, -30, false, "critical", false},
		{"power above", collector.StateOn, -29.9, false, "clear", false},
		{"was dark, between", collector.StateOn, -28.1, true, "critical", false},
		{"was dark, lit again", collector.StateOn, -28, true, "clear", false},
		{"warming", collector.StateWarming, -45, false, "unknown", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := ownStar(t, 2)
			s.say("roof", "laser_state", c.state)
			s.read("roof", "optical_transmit_power", c.dbm)
			if c.raised {
				s.raise(rules.LaserFailed, roofLaser, alarms.Critical)
			}
			s.expect(c.want, rules.LaserFailed, roofLaser)
			if c.want == "critical" {
				require.Equal(t, c.direct, s.active(rules.LaserFailed, roofLaser).Direct)
			}
		})
	}
}

// TestALaserIsTheOneCause: its far ends are dark, the cable is not blamed.
func TestALaserIsTheOneCause(t *testing.T) {
	s := ownStar(t, 3)
	s.say("roof", "laser_state", collector.StateFailed)
	s.read("roof", "optical_transmit_power", -45)
	s.dim("room-1", "room-2", "room-3")
	require.Equal(t, []string{"laser-failed " + roofLaser}, s.standing())
	v := s.active(rules.LaserFailed, roofLaser)
	require.ElementsMatch(t, []string{"link/l1", "link/l2", "link/l3"}, v.Details.Impacted)
	require.InDelta(t, -45, *v.Details.Observed, 0)
	s.inactive(rules.SignalLost, "cable/riser") // the uplinks shine
}

// TestAFarEndWaitsForItsLaser: the laser may be the cause, and is polled next.
func TestAFarEndWaitsForItsLaser(t *testing.T) {
	s := ownStar(t, 1)
	s.polled("roof", -time.Second)
	s.dim("room-1")
	require.False(t, s.active(rules.SignalLost, roomRx).Direct)
	s.polled("roof", time.Second)
	require.True(t, s.active(rules.SignalLost, roomRx).Direct)
}

func TestALaserClearsAfterItsConsequences(t *testing.T) {
	s := ownStar(t, 1)
	s.raise(rules.LaserFailed, roofLaser, alarms.Critical)
	s.raise(rules.SignalLost, roomRx, alarms.Critical)
	s.polled("room-1", -time.Second)
	s.dim("room-1")
	s.unknown(rules.LaserFailed, roofLaser) // room-1 has not been read since
	s.polled("room-1", time.Second)
	s.inactive(rules.LaserFailed, roofLaser) // room-1 is dark for another reason
}

func TestALaserBehindADarkFibreIsUnknown(t *testing.T) {
	s := star(t, 1)
	s.say("roof", "laser_state", collector.StateFailed) // an old reading
	s.dim("room-1")
	s.unknown(rules.LaserFailed, roofLaser)
}
