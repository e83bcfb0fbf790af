package alarms_test

import (
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// start is the time at which most tests begin.
var start = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func at(d time.Duration) time.Time { return start.Add(d) }

// fakeRule answers with what the test set last.
type fakeRule struct {
	typ alarms.Type
	mu  sync.Mutex
	say func(*alarms.View) []alarms.Verdict
}

func (r *fakeRule) Type() alarms.Type { return r.typ }

func (r *fakeRule) Judge(v *alarms.View) []alarms.Verdict {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.say == nil {
		return nil
	}
	return r.say(v)
}

// verdicts has the rule answer vs for north-quay until told otherwise.
func (r *fakeRule) verdicts(vs ...alarms.Verdict) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.say = func(v *alarms.View) []alarms.Verdict {
		if v.Site.ID != "north-quay" {
			return nil
		}
		return vs
	}
}

func signalLost() *fakeRule {
	return &fakeRule{typ: alarms.Type{
		ID: "optical-signal-lost", Severity: alarms.Major, EventType: alarms.CommunicationsAlarm,
		Cause: alarms.Cause{Name: "lossOfSignal", Number: 8},
	}}
}

func active(resource string, seen time.Time) alarms.Verdict {
	return alarms.Verdict{Resource: resource, Active: true, Text: "no light: look at the fibre", Seen: seen}
}

func clear(resource string, seen time.Time) alarms.Verdict {
	return alarms.Verdict{Resource: resource, Seen: seen}
}

// smallFleet has two sites: north-quay with a roof unit, a room unit and a
// link between them on one cable, and south-quay with a room unit.
func smallFleet(severities ...collector.SeverityRule) *collector.Fleet {
	points := []collector.Point{{Quantity: collector.OpticalReceivePower}, {Quantity: collector.Temperature}, {Quantity: collector.Uptime}, {Quantity: collector.SupplyState, Port: "a"}}
	equipment := collector.Equipment{Model: "rack-dual-supply", Supplies: 2, Points: points}
	path := collector.Path{Cable: "nq-riser", Strand: 1}
	return collector.NewFleet(collector.Fleet{
		Sites:  []collector.Site{{ID: "north-quay", Location: time.UTC}, {ID: "south-quay", Location: time.UTC}},
		Cables: []collector.Cable{{ID: "nq-riser", Site: "north-quay"}},
		Units: []collector.Unit{
			{ID: "nq-roof", Site: "north-quay", Role: collector.Outdoor, Equipment: equipment, Via: "nq-room"},
			{ID: "nq-room", Site: "north-quay", Role: collector.Indoor, Equipment: equipment},
			{ID: "sq-room", Site: "south-quay", Role: collector.Indoor, Equipment: equipment},
		},
		Links:      []collector.Link{{ID: "nq", Outdoor: "nq-roof", Indoor: "nq-room", Downlink: path, Uplink: path}},
		Severities: severities,
	})
}

// rig is an engine with a list, without Run: the test evaluates.
type rig struct {
	*testing.T
	engine  *alarms.Engine
	list    *alarms.List
	now     time.Time
	changes []alarms.Change // since the last call of took
	all     []alarms.Change
}

func newRig(t *testing.T, cfg alarms.EngineConfig, rules ...alarms.Rule) *rig {
	r := &rig{T: t, now: start}
	r.list = alarms.NewList(alarms.ListConfig{Sink: func(cs []alarms.Change) {
		r.changes = append(r.changes, cs...)
		r.all = append(r.all, cs...)
	}})
	cfg.Rules, cfg.List = rules, r.list
	cfg.Now = func() time.Time { return r.now }
	r.engine = alarms.NewEngine(cfg)
	r.engine.SetFleet(smallFleet())
	return r
}

// step moves the time on and evaluates all sites.
func (r *rig) step(d time.Duration) {
	r.now = r.now.Add(d)
	r.engine.EvaluateAll(r.now)
}

// took returns the kinds of the changes since the last call; those that
// receivers may hear of carry a mark.
func (r *rig) took() []string {
	var out []string
	for _, c := range r.changes {
		kind := string(c.Kind)
		if c.Notify {
			kind += "!"
		}
		out = append(out, kind)
	}
	r.changes = nil
	return out
}

func (r *rig) alarm(resource, typ string) alarms.Alarm {
	a, ok := r.list.Alarm(alarms.NewID(alarms.Key{Resource: resource, Type: typ}))
	require.True(r, ok, "%s at %s", typ, resource)
	return a
}

func (r *rig) eventKinds() []alarms.EventKind {
	var out []alarms.EventKind
	for _, ev := range r.engine.Events(0) {
		out = append(out, ev.Kind)
	}
	return out
}

// work is a calendar with one planned work.
type work struct {
	id       string
	resource string
	from, to time.Time
}

func (w work) During(resources []string, now time.Time) (collector.PlannedWork, bool) {
	for _, r := range resources {
		if r == w.resource && !now.Before(w.from) && now.Before(w.to) {
			return collector.PlannedWork{ID: w.id}, true
		}
	}
	return collector.PlannedWork{}, false
}

// levels is a baseline source with one level for all units.
type levels map[collector.Point]baseline.Level

func (l levels) Levels(string) (map[collector.Point]baseline.Level, bool) { return l, len(l) > 0 }

type severityRule = collector.SeverityRule
