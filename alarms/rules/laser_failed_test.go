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

// TestALaserThatCannotHoldItsLight: half of the light gone and the driver at
// its limit, or giving nothing, is a failed transmitter; as long as the light
// is held, or the driver has something left, it is not. The model's largest
// current is 60 mA.
func TestALaserThatCannotHoldItsLight(t *testing.T) {
	for _, c := range []struct {
		name       string
		bias, fall float64
		was        bool
		standing   string
	}{
		{"at the limit, 5 dB gone", 60, 5, false, rules.LaserFailed + " " + roomSends},
		{"at the limit, 3 dB gone", 58.2, 3, false, rules.LaserFailed + " " + roomSends},
		{"no current, 6 dB gone", 0.5, 6, false, rules.LaserFailed + " " + roomSends},
		{"at the limit, the light held", 60, 0, false, rules.LaserAgeing + " " + roomBias},
		{"at the limit, 2.9 dB gone", 60, 2.9, false, rules.LaserAgeing + " " + roomBias},
		{"was failed, 2.8 dB gone", 60, 2.8, true, rules.LaserFailed + " " + roomSends},
		{"was failed, 2.6 dB gone", 60, 2.6, true, rules.LaserAgeing + " " + roomBias},
		{"current to spare, 5 dB gone", 30, 5, false, rules.SignalDegraded + " " + roomSends},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := pairs(t, 1)
			if c.was {
				s.raise(rules.LaserFailed, roomSends, alarms.Major)
			}
			s.read("room-1", "laser_bias", c.bias)
			s.shift("room-1", "optical_transmit_power", -c.fall)
			s.shift("roof-1", "optical_receive_power", -c.fall)
			require.Equal(t, []string{c.standing}, s.standing())
			if c.standing == rules.LaserFailed+" "+roomSends {
				v := s.active(rules.LaserFailed, roomSends)
				require.Equal(t, alarms.Major, v.Severity, "the link may still serve")
				require.Contains(t, v.Text, "of 60 mA at most")
				require.Equal(t, []string{"link/l1"}, v.Details.Impacted)
				require.NotEmpty(t, v.Details.Cautions)
			}
		})
	}
}

// TestAnAgedLaserThatFails: what is known of its age stands beside, silent.
func TestAnAgedLaserThatFails(t *testing.T) {
	s := pairs(t, 1)
	s.age("room-1", aged(3, 0.55))
	s.read("room-1", "laser_bias", 60)
	s.shift("room-1", "optical_transmit_power", -4)
	require.Contains(t, s.active(rules.LaserAgeing, roomBias).Text, "end of its life")
	require.Equal(t, []string{rules.LaserFailed + " " + roomSends}, s.standing())
	s.units["room-1"].Unit.Equipment.Limits.BiasMaxMA = nil
	s.inactive(rules.LaserFailed, roomSends)
}
