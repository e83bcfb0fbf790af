package rules_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

// A story runs the rules under the engine: each unit of a scene is polled
// every ten seconds, one after the other, and the site is judged after each
// poll. What it tells is what receivers would hear.
type story struct {
	*scene
	engine *alarms.Engine
	clock  time.Time
	tick   int
	order  []int // ticks at which the units are polled
	heard  []string
}

const (
	pollEvery = 10 * time.Second
	perPoll   = 10 // ticks
)

// levels are the baselines of the scene's units.
type levels struct{ *scene }

func (l levels) Levels(unit string) (map[collector.Point]baseline.Level, bool) {
	out := map[collector.Point]baseline.Level{}
	for p, pv := range l.units[unit].Points {
		if pv.Baseline != nil {
			out[p] = *pv.Baseline
		}
	}
	return out, l.units[unit].Baselined
}

func tell(s *scene, seed uint64) *story {
	y := &story{scene: s, clock: now}
	list := alarms.NewList(alarms.ListConfig{Sink: func(changes []alarms.Change) {
		for _, c := range changes {
			if c.Notify {
				y.heard = append(y.heard, fmt.Sprintf("%s %s %s", c.Kind, c.Alarm.Type, c.Alarm.Resource))
			}
		}
	}})
	y.engine = alarms.NewEngine(alarms.EngineConfig{Rules: rules.All(), List: list, Baselines: levels{s}, Now: func() time.Time { return y.clock }})
	y.engine.SetFleet(collector.NewFleet(s.fleet))
	y.order = rand.New(rand.NewPCG(seed, 2)).Perm(perPoll)
	return y
}

// run lets time pass and returns what was heard meanwhile.
func (y *story) run(d time.Duration) []string {
	y.heard = nil
	for end := y.clock.Add(d); y.clock.Before(end); y.tick++ {
		y.clock = y.clock.Add(pollEvery / perPoll)
		for i, u := range y.fleet.Units {
			if y.order[i] == y.tick%perPoll {
				y.engine.Observe(y.poll(y.units[u.ID]))
				y.engine.EvaluateAll(y.clock)
			}
		}
	}
	return y.heard
}

func (y *story) poll(u *alarms.UnitView) collector.Poll {
	p := collector.Poll{Unit: u.Unit.ID, Started: y.clock, Err: u.Err}
	if u.Err == nil {
		for _, at := range u.Unit.Equipment.Points {
			r := u.Points[at].Reading
			r.Taken = y.clock
			p.Readings = append(p.Readings, r)
		}
	}
	return p
}

// revive puts units back as they were made.
func (y *story) revive(units ...string) {
	for _, id := range units {
		y.units[id].Err = nil
		for _, p := range y.units[id].Unit.Equipment.Points {
			v := healthy[p.Quantity]
			if b := y.units[id].Points[p].Baseline; b != nil {
				v = b.Value
			}
			y.quality(id, p.String(), collector.Good)
			y.read(id, p.String(), v)
		}
	}
}

func TestStories(t *testing.T) {
	four := func(seed uint64) *story { return tell(pairs(t, 4), seed) }
	rooms := []string{"room-1", "room-2", "room-3", "room-4"}
	roofs := []string{"roof-1", "roof-2", "roof-3", "roof-4"}
	cut := func(y *story) {
		y.dim(rooms...)
		for _, r := range roofs {
			y.blank(r)
		}
	}
	all := append(append([]string{}, rooms...), roofs...)
	for _, c := range []struct {
		name   string
		story  func(seed uint64) *story
		happen func(*story)
		units  []string
		heard  string // type and resource of the one alarm; "" = none
	}{
		{"nothing", four, func(*story) {}, nil, ""},
		{"cable cut", four, cut, all, "optical-signal-lost cable/riser"},
		{"one fibre", four, func(y *story) { y.dim("room-2"); y.blank("roof-2") }, all, "optical-signal-lost unit/room-2/optical_receive_power"},
		{"site away", four, func(y *story) { y.fail(collector.ErrNoAnswer, all...) }, all, "unit-unreachable site/quay"},
		{"unit away", four, func(y *story) { y.fail(collector.ErrNoAnswer, "room-3", "roof-3") }, all, "unit-unreachable unit/room-3"},
		{"laser of a star", func(seed uint64) *story { return tell(ownStar(t, 4), seed) }, func(y *story) {
			y.say("roof", "laser_state", collector.StateFailed)
			y.read("roof", "optical_transmit_power", -45)
			y.dim(rooms...)
		}, append([]string{"roof"}, rooms...), "laser-failed unit/roof/optical_transmit_power"},
		{"roof power of a star", func(seed uint64) *story { return tell(star(t, 4), seed) }, func(y *story) {
			y.dim(rooms...)
			y.blank("roof")
		}, append([]string{"roof"}, rooms...), "optical-signal-lost cable/riser"},
		{"connector", four, func(y *story) {
			y.shift("room-1", "optical_receive_power", -2)
			y.shift("room-1", "rf_output_level", -3.9)
		}, all, "optical-signal-degraded unit/room-1/optical_receive_power"},
		{"supply", four, func(y *story) {
			y.say("room-1", "supply_state/b", collector.StateFailed)
			y.read("room-1", "supply_voltage/b", 0)
		}, all, "supply-redundancy-lost unit/room-1/supply_state/b"},
		{"antenna feed", four, func(y *story) {
			y.say("roof-1", "antenna_feed_state", collector.StateOpen)
			y.read("roof-1", "lna_current", 0)
			y.shift("roof-1", "rf_input_level", -20)
			y.shift("room-1", "rf_output_level", -20)
		}, all, "antenna-feed-fault unit/roof-1/antenna_feed_state"},
		{"credentials", four, func(y *story) { y.fail(collector.ErrRefused, "room-1", "roof-1") }, all, "credentials-refused unit/room-1"},
	} {
		for seed := range uint64(4) {
			t.Run(fmt.Sprintf("%s/order %d", c.name, seed), func(t *testing.T) {
				y := c.story(seed)
				require.Empty(t, y.run(time.Minute), "a healthy start")
				y.run(time.Duration(seed) * time.Second) // not in step with the polls
				c.happen(y)
				heard := y.run(90 * time.Second)
				if c.heard == "" {
					require.Empty(t, heard)
					return
				}
				require.Equal(t, []string{"raised " + c.heard}, heard)
				y.revive(c.units...)
				require.Equal(t, []string{"cleared " + c.heard}, y.run(2*time.Minute))
			})
		}
	}
}

// TestAStartInTheMiddle: a daemon that starts while a cable is cut says so
// once.
func TestAStartInTheMiddle(t *testing.T) {
	y := tell(pairs(t, 4), 1)
	y.dim("room-1", "room-2", "room-3", "room-4")
	for i := 1; i <= 4; i++ {
		y.blank(fmt.Sprintf("roof-%d", i))
	}
	require.Equal(t, []string{"raised optical-signal-lost cable/riser"}, y.run(3*time.Minute))
}

// TestADipIsNoAlarm: one poll without an answer, one flicker of a supply.
func TestADipIsNoAlarm(t *testing.T) {
	y := tell(pairs(t, 2), 1)
	y.run(time.Minute)
	y.fail(collector.ErrNoAnswer, "room-1", "roof-1")
	y.say("room-2", "supply_state/a", collector.StateFailed)
	heard := y.run(pollEvery)
	y.revive("room-1", "roof-1", "room-2")
	require.Empty(t, append(heard, y.run(2*time.Minute)...))
}

// TestNoiseIsQuiet: hours of noise about a level just above the threshold
// makes no more than one alarm, and no other text.
func TestNoiseIsQuiet(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	y := tell(pairs(t, 1), 1)
	y.base("room-1", "optical_receive_power", -3, 0.05)
	changes := 0
	for range 1000 {
		y.shift("room-1", "optical_receive_power", -0.98+0.05*r.NormFloat64())
		changes += len(y.run(pollEvery))
	}
	require.LessOrEqual(t, changes, 1)
}
