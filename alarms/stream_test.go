package alarms_test

import (
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/collector"
)

// stream drives an engine with whatever a string of bytes says, and checks
// after each step what must hold whatever happens.
type stream struct {
	*rig
	cut, sig  *fakeRule
	work      bool
	verdicts  map[alarms.Key]alarms.Verdict
	announced map[alarms.Key]bool // as a receiver sees it
	checked   int                 // changes
}

func (s *stream) During([]string, time.Time) (collector.PlannedWork, bool) {
	return collector.PlannedWork{ID: "works"}, s.work
}

func newStream(t *testing.T) *stream {
	s := &stream{cut: cableCut(), sig: signalLost(), verdicts: map[alarms.Key]alarms.Verdict{}, announced: map[alarms.Key]bool{}}
	s.sig.typ.Raise, s.sig.typ.Clear = alarms.Damping{Polls: 2}, alarms.Damping{Polls: 2, For: 10 * time.Second}
	s.rig = newRig(t, alarms.EngineConfig{Calendar: s}, s.sig, s.cut)
	say := func(typ string) func(*alarms.View) []alarms.Verdict {
		return func(v *alarms.View) (out []alarms.Verdict) {
			if v.Site.ID == "north-quay" {
				for _, k := range s.keys() {
					if verdict, ok := s.verdicts[k]; ok && k.Type == typ {
						out = append(out, verdict)
					}
				}
			}
			return out
		}
	}
	s.sig.say, s.cut.say = say(lost), say("cable-cut")
	return s
}

func (s *stream) keys() []alarms.Key {
	return []alarms.Key{lostKey, {Resource: roofPort, Type: lost}, cutKey}
}

// do takes one byte in: two bits say of which alarm, the others what happens.
func (s *stream) do(b byte) {
	k := s.keys()[int(b&3)%3]
	id := alarms.NewID(k)
	op := alarms.Operation{Operator: "amara", Text: "x", Now: s.now, Until: s.now.Add(time.Minute)}
	switch b >> 2 & 15 {
	case 0, 1, 2, 3:
		v := active(k.Resource, s.now)
		v.Severity = alarms.Warning + alarms.Severity(b>>2&3)
		if k == cutKey {
			v.Explains = s.keys()[:2]
		}
		s.verdicts[k] = v
	case 4, 5, 6:
		s.verdicts[k] = clear(k.Resource, s.now)
	case 7:
		delete(s.verdicts, k)
	case 8:
		s.work = !s.work
	case 9:
		s.list.Shelve(id, op)
	case 10:
		s.list.Unshelve(id, op)
	case 11:
		s.list.Acknowledge(id, op)
	case 12:
		s.list.Purge(alarms.Filter{Resource: k.Resource, Clearance: alarms.ClearanceCleared, Shelving: alarms.ShelvingAny}, op)
	case 13:
		s.list.Compress(alarms.Filter{Resource: k.Resource}, op)
	case 14:
		s.list.SetShelves([]alarms.Shelf{{Name: "s", Type: k.Type, Until: op.Until}}, op)
	default:
		s.step(time.Minute)
	}
	s.step(time.Duration(b>>6) * 4 * time.Second)
	s.check()
}

func (s *stream) check() {
	for _, c := range s.all[s.checked:] {
		s.checked++
		require.EqualValues(s, s.checked, c.Seq, "numbers rise by one")
		k := c.Alarm.Key
		if c.Notify {
			if c.Kind != alarms.Purged {
				require.False(s, c.Alarm.Shelved(), "%s of a shelved alarm", c.Kind)
				require.Equal(s, alarms.Hold{}, c.Alarm.Hold, "%s of a held alarm", c.Kind)
			}
			switch c.Kind {
			case alarms.Raised, alarms.Released:
				require.False(s, s.announced[k], "announced twice")
				s.announced[k] = true
			case alarms.ClearedChange, alarms.Purged:
				require.True(s, s.announced[k], "nobody knew of it")
				s.announced[k] = false
			case alarms.SeverityChanged, alarms.TextChanged:
				require.True(s, s.announced[k], "%s of an alarm that nobody knows of", c.Kind)
			}
		}
		require.Equal(s, s.announced[k], c.Alarm.Announced && c.Kind != alarms.Purged, "the list knows what receivers know")
		requireConsistent(s, c.Alarm)
	}
	for _, a := range s.list.Alarms(alarms.Filter{Shelving: alarms.ShelvingAny}) {
		requireConsistent(s, a)
	}
}

// end lets everything be well again and checks that nobody is left with an
// alarm that was announced and never cleared.
func (s *stream) end() {
	s.work = false
	for range 3 {
		for _, k := range s.keys() {
			s.verdicts[k] = clear(k.Resource, s.now)
		}
		s.step(5 * time.Hour)
	}
	s.check()
	for k, open := range s.announced {
		require.False(s, open, "%v", k)
	}
	require.Empty(s, s.list.Alarms(alarms.Filter{Clearance: alarms.ClearanceNotCleared, Shelving: alarms.ShelvingAny}))
	require.Empty(s, s.list.Alarms(alarms.Filter{Shelving: alarms.ShelvingOnly}))
}

func TestRandomStreams(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 40 {
		s := newStream(t)
		for range 200 {
			s.do(byte(rng.Uint32()))
		}
		s.end()
	}
}

func FuzzStream(f *testing.F) {
	f.Add([]byte{0x40, 0x40, 0x42, 0x50, 0x50, 0x20, 0x24, 0x28})
	f.Add([]byte{0x42, 0x42, 0x40, 0x40, 0x60, 0x52, 0x52, 0x38, 0xff, 0x3c})
	f.Fuzz(func(t *testing.T, data []byte) {
		s := newStream(t)
		for _, b := range data[:min(len(data), 500)] {
			s.do(b)
		}
		s.end()
	})
}
