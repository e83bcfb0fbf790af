package visit_test

import (
	"context"
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/visit"
	"lightwell/collector"
	"lightwell/collector/history"
	"lightwell/collector/state"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var (
	ctx   = context.Background()
	noon  = time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	noc   = visit.Actor{Name: "noc-1", From: "192.0.2.7"}
	light = collector.Point{Quantity: collector.OpticalReceivePower}
	level = collector.Point{Quantity: collector.RFOutputLevel}
	mains = collector.Point{Quantity: collector.SupplyState, Port: "a"}
)

func fleet() *collector.Fleet {
	equipment := collector.Equipment{Model: "rack-dual-supply", Points: []collector.Point{light, level, mains}}
	unit := func(id, site string, role collector.Role) collector.Unit {
		return collector.Unit{ID: id, Site: site, Role: role, Equipment: equipment}
	}
	return collector.NewFleet(collector.Fleet{
		Sites:  []collector.Site{{ID: "quay", Name: "North Quay", Address: "Pier 3"}, {ID: "hill"}},
		Cables: []collector.Cable{{ID: "riser", Site: "quay"}},
		Units:  []collector.Unit{unit("roof", "quay", collector.Outdoor), unit("room", "quay", collector.Indoor), unit("hut", "hill", collector.Indoor)},
		Links: []collector.Link{{ID: "nq", Outdoor: "roof", Indoor: "room", Downlink: collector.Path{Cable: "riser", Strand: 1},
			Uplink: collector.Path{Cable: "riser", Strand: 2}}},
	})
}

// A scene is a book with everything around it, as a test sets it.
type scene struct {
	t      testing.TB
	folder string
	state  *state.Store
	book   *visit.Book
	fault  error // of every write; nil: they work
	units  map[string]alarms.UnitView
	alarms []alarms.Alarm
	past   history.Source
	events []alarms.Event
}

func newScene(t testing.TB, now time.Time) *scene {
	s := &scene{t: t, folder: t.TempDir(), units: map[string]alarms.UnitView{}}
	for _, u := range fleet().Units {
		s.units[u.ID] = alarms.UnitView{Unit: u, Points: map[collector.Point]alarms.PointView{}}
	}
	s.open(now)
	t.Cleanup(func() { s.state.Close() })
	return s
}

// open opens state and book, as at a start of the daemon.
func (s *scene) open(now time.Time) {
	var err error
	s.state, err = state.Open(ctx, state.Config{Folder: s.folder}, nil)
	require.NoError(s.t, err)
	s.book, err = visit.NewBook(visit.Config{
		Store: visit.Stored{State: s.state, Write: func(fn func(context.Context) error) error {
			if s.fault != nil {
				return s.fault
			}
			return fn(ctx)
		}},
		Fleet: fleet, History: s.past, Event: func(ev alarms.Event) { s.events = append(s.events, ev) },
		Units: func(site string) []alarms.UnitView {
			var out []alarms.UnitView
			for _, id := range slices.Sorted(maps.Keys(s.units)) {
				if u := s.units[id]; u.Unit.Site == site {
					out = append(out, u)
				}
			}
			return out
		},
		Alarms: func(site string) []alarms.Alarm {
			return slices.DeleteFunc(slices.Clone(s.alarms), func(a alarms.Alarm) bool { return a.Site != site })
		},
	}, now)
	require.NoError(s.t, err)
}

// read has a unit answer with values.
func (s *scene) read(unit string, at time.Time, values map[collector.Point]float64) {
	was := s.units[unit]
	u := was.Clone()
	u.Polled, u.LastSuccess, u.Err = at, at, nil
	if u.Points == nil {
		u.Points = map[collector.Point]alarms.PointView{}
	}
	for p, v := range values {
		pv := u.Points[p]
		pv.Reading = collector.Reading{Unit: unit, Point: p, Value: v, Taken: at}
		u.Points[p] = pv
	}
	s.units[unit] = u
}

// accept gives a point a baseline.
func (s *scene) accept(unit string, p collector.Point, value float64) {
	was := s.units[unit]
	u := was.Clone()
	pv := u.Points[p]
	pv.Baseline = &baseline.Level{Value: value, Spread: 0.02}
	u.Points[p] = pv
	s.units[unit] = u
}

func (s *scene) begin(now time.Time, change ...func(*visit.Begin)) visit.Visit {
	s.t.Helper()
	r := visit.Begin{Site: "quay", By: "Kim", Reason: "weak downlink"}
	for _, c := range change {
		c(&r)
	}
	v, err := s.book.Begin(ctx, r, noc, now)
	require.NoError(s.t, err)
	return v
}

func (s *scene) end(id string, now time.Time) visit.Visit {
	s.t.Helper()
	v, err := s.book.End(ctx, id, visit.End{Found: "dirty connector", Done: "cleaned"}, noc, now)
	require.NoError(s.t, err)
	return v
}

func (s *scene) proof(id string, now time.Time) visit.Proof {
	s.t.Helper()
	p, err := s.book.Proof(id, now)
	require.NoError(s.t, err)
	return p
}

// kinds returns the kinds of the events so far.
func (s *scene) kinds() []alarms.EventKind {
	var out []alarms.EventKind
	for _, ev := range s.events {
		out = append(out, ev.Kind)
	}
	return out
}

// log returns the kinds in the log of changes, oldest first.
func (s *scene) log() []string {
	rows, err := s.state.Changes(ctx, state.Filter{})
	require.NoError(s.t, err)
	var out []string
	for _, r := range slices.Backward(rows) {
		out = append(out, r.Kind)
	}
	return out
}
