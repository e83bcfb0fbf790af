package view_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/web/view"
	"lightwell/collector"
)

var now = time.Date(2026, 11, 25, 9, 0, 0, 0, time.UTC)

func pt(q collector.Quantity, port string) collector.Point {
	return collector.Point{Quantity: q, Port: port}
}

// plant is one roof unit that feeds two rooms.
func plant() *collector.Fleet {
	roof := collector.Equipment{Model: "roof", Points: []collector.Point{pt(collector.OpticalReceivePower, "1"), pt(collector.OpticalReceivePower, "2"), pt(collector.OpticalTransmitPower, "")}}
	room := collector.Equipment{Model: "room", Points: []collector.Point{pt(collector.OpticalReceivePower, ""), pt(collector.OpticalTransmitPower, ""), pt(collector.SupplyState, "a")}}
	link := func(id, room string) collector.Link {
		return collector.Link{ID: id, Outdoor: "roof", Indoor: room, Downlink: collector.Path{Cable: "riser", Strand: 1}, Uplink: collector.Path{Cable: "riser", Strand: 2}}
	}
	return collector.NewFleet(collector.Fleet{
		Sites:  []collector.Site{{ID: "quay", Name: "Quay", Location: time.UTC}, {ID: "hill", Location: time.UTC}},
		Cables: []collector.Cable{{ID: "riser", Site: "quay", LengthM: 140}},
		Units: []collector.Unit{{ID: "roof", Site: "quay", Role: collector.Outdoor, Equipment: roof},
			{ID: "room1", Site: "quay", Role: collector.Indoor, Equipment: room}, {ID: "room2", Site: "quay", Role: collector.Indoor, Equipment: room}},
		Links:       []collector.Link{link("one", "room1"), link("two", "room2")},
		PlannedWork: []collector.PlannedWork{{ID: "paint", Resources: []string{"unit/roof"}, Start: "0 8 * * 1", Duration: time.Hour}, {ID: "far", Resources: []string{"site/hill"}}},
	})
}

// read makes a unit view that answers, with values and deviations.
func read(f *collector.Fleet, id string, values, deviations map[collector.Point]float64) alarms.UnitView {
	u, _ := f.Unit(id)
	v := alarms.UnitView{Unit: u, Polled: now, LastSuccess: now, Baselined: true, Points: map[collector.Point]alarms.PointView{}}
	for p, x := range values {
		pv := alarms.PointView{Reading: collector.Reading{Unit: id, Point: p, Value: x, Taken: now}}
		if d, ok := deviations[p]; ok {
			pv.Baseline, pv.Deviation, pv.Compared = &baseline.Level{Value: x - d}, d, true
		}
		v.Points[p] = pv
	}
	return v
}

func raised(resource, kind string, s alarms.Severity) alarms.Alarm {
	k := alarms.Key{Resource: resource, Type: kind}
	return alarms.Alarm{Key: k, ID: alarms.NewID(k), Site: "quay", Severity: s, Operator: alarms.OperatorNone, LastRaised: now}
}

func TestLossAlongALink(t *testing.T) {
	f := plant()
	rx, tx := pt(collector.OpticalReceivePower, ""), pt(collector.OpticalTransmitPower, "")
	rx1, rx2 := pt(collector.OpticalReceivePower, "1"), pt(collector.OpticalReceivePower, "2")
	b := view.NewBoard(view.Snapshot{Now: now, Fleet: f, Units: []alarms.UnitView{
		read(f, "roof", map[collector.Point]float64{tx: 3, rx1: 0.5, rx2: -4}, map[collector.Point]float64{tx: -0.5, rx2: -2}),
		read(f, "room1", map[collector.Point]float64{rx: -1, tx: 3}, map[collector.Point]float64{rx: -2, tx: 0}),
		read(f, "room2", map[collector.Point]float64{tx: 3}, map[collector.Point]float64{tx: 0}),
	}})
	one, two := b.Links()[0], b.Links()[1]

	require.InDelta(t, 4.0, *one.Downlink.LossDB, 1e-9, "3 dBm sent, -1 dBm received")
	require.InDelta(t, 1.5, *one.Downlink.ExtraLossDB, 1e-9, "2 dB less arrive, but 0.5 dB less were sent")
	require.InDelta(t, 0.5, *one.Uplink.Receive.Value, 1e-9, "port 1 belongs to the first link of the roof unit")
	require.Nil(t, one.Uplink.ExtraLossDB, "port 1 is not compared")
	require.InDelta(t, -4.0, *two.Uplink.Receive.Value, 1e-9, "port 2 to the second")
	require.InDelta(t, 2.0, *two.Uplink.ExtraLossDB, 1e-9)
	require.Nil(t, two.Downlink.LossDB, "nothing is known of what room2 receives")
	require.Equal(t, collector.Unavailable, two.Downlink.Receive.Quality, "the point exists but was never read")
	require.InDelta(t, 2.0, two.Uplink.Receive.Worse, 1e-9, "less light is worse")
	require.Nil(t, one.Downlink.Input, "no such point at the roof unit")
}

func TestNumbersNeedAGoodReadingOfAUnitThatAnswers(t *testing.T) {
	f := plant()
	rx, supply := pt(collector.OpticalReceivePower, ""), pt(collector.SupplyState, "a")
	v := read(f, "room1", map[collector.Point]float64{rx: -1, supply: 1}, map[collector.Point]float64{rx: -2})
	at := func(v alarms.UnitView, i int) view.Point {
		u, ok := view.NewBoard(view.Snapshot{Now: now, Fleet: f, Units: []alarms.UnitView{v}}).Unit("room1")
		require.True(t, ok)
		require.Len(t, u.Points, 3)
		return u.Points[i]
	}
	require.InDelta(t, -1.0, *at(v, 0).Value, 1e-9)
	require.Equal(t, "failed", at(v, 2).State)
	require.Nil(t, at(v, 2).Value, "a state has a word, not a number")

	silent := v
	silent.Err = errors.New("no answer")
	require.Nil(t, at(silent, 0).Value)
	require.Nil(t, at(silent, 0).Deviation)
	require.NotNil(t, at(silent, 0).Baseline, "what it should read is still known")
	require.False(t, at(silent, 0).Current)
	require.Empty(t, at(silent, 2).State)

	pv := v.Points[rx]
	pv.Reading.Quality = collector.Broken
	v.Points[rx] = pv
	require.Nil(t, at(v, 0).Value)
	require.Nil(t, at(v, 0).Deviation)
	require.Equal(t, collector.Broken, at(v, 0).Quality)
}

func TestStateOfALink(t *testing.T) {
	f := plant()
	well := func(id string) alarms.UnitView { return read(f, id, nil, nil) }
	silent, fresh := well("room1"), well("room1")
	silent.Err = errors.New("no answer")
	fresh.Baselined = false
	held := raised("unit/room1", "x", alarms.Critical)
	held.Hold = alarms.Hold{Reason: alarms.HoldPlannedWork, By: "paint"}
	shelved, cleared := raised("unit/room1", "x", alarms.Critical), raised("unit/room1", "x", alarms.Critical)
	shelved.ShelfName, cleared.Cleared = "own", true
	cut := raised("cable/riser", "x", alarms.Critical)
	cutOne := cut
	cutOne.Details.Impacted = []string{"link/two"}
	for name, c := range map[string]struct {
		room1  alarms.UnitView
		alarms []alarms.Alarm
		want   view.State
	}{
		"all is well":                 {well("room1"), nil, view.StateGood},
		"never read":                  {alarms.UnitView{}, nil, view.StateSilent},
		"no answer":                   {silent, nil, view.StateSilent},
		"no baseline":                 {fresh, nil, view.StateCommissioning},
		"alarm at a point":            {well("room1"), []alarms.Alarm{raised("unit/room1/supply_state/a", "x", alarms.Minor)}, "minor"},
		"the worst counts":            {well("room1"), []alarms.Alarm{raised("unit/room1", "x", alarms.Warning), raised("unit/roof", "x", alarms.Major)}, "major"},
		"alarm beats silence":         {silent, []alarms.Alarm{raised("unit/room1", "unit-unreachable", alarms.Major)}, "major"},
		"held":                        {well("room1"), []alarms.Alarm{held}, view.StateHeld},
		"held and another":            {well("room1"), []alarms.Alarm{held, raised("link/one", "x", alarms.Minor)}, "minor"},
		"shelved asks for nothing":    {well("room1"), []alarms.Alarm{shelved}, view.StateGood},
		"cleared asks for nothing":    {well("room1"), []alarms.Alarm{cleared}, view.StateGood},
		"whole cable":                 {well("room1"), []alarms.Alarm{cut}, "critical"},
		"cable, but other strands":    {well("room1"), []alarms.Alarm{cutOne}, view.StateGood},
		"alarm of the neighbour room": {well("room1"), []alarms.Alarm{raised("unit/room2", "x", alarms.Major)}, view.StateGood},
	} {
		t.Run(name, func(t *testing.T) {
			b := view.NewBoard(view.Snapshot{Now: now, Fleet: f, Units: []alarms.UnitView{well("roof"), c.room1, well("room2")}, Alarms: c.alarms})
			require.Equal(t, c.want, b.Links()[0].State)
		})
	}
}

func TestMostUrgentFirst(t *testing.T) {
	many, taken, old := raised("unit/a", "many", alarms.Major), raised("unit/a", "taken", alarms.Major), raised("unit/a", "old", alarms.Major)
	many.Details.Impacted = []string{"link/one", "link/two"}
	taken.Operator = alarms.OperatorAck
	old.LastRaised = now.Add(-time.Hour)
	list := []alarms.Alarm{taken, raised("unit/a", "small", alarms.Warning), old, raised("unit/a", "new", alarms.Major), many, raised("unit/a", "worst", alarms.Critical)}
	o := view.NewBoard(view.Snapshot{Now: now, Fleet: plant(), Alarms: list}).Overview()
	var order []string
	for _, a := range o.Attention {
		order = append(order, a.Type)
	}
	require.Equal(t, []string{"worst", "many", "new", "old", "taken", "small"}, order)
	require.Equal(t, view.Counts{Critical: 1, Major: 4, Warning: 1}, o.Alarms)
}

func TestWhereAnAlarmIs(t *testing.T) {
	for want, a := range map[view.Place][]alarms.Alarm{
		view.Sky:    {raised("unit/roof", "antenna-feed-fault", alarms.Major)},
		view.Roof:   {raised("unit/roof", "supply-failed", alarms.Major)},
		view.Fibre:  {raised("cable/riser", "optical-signal-lost", alarms.Major), raised("unit/room1/optical_receive_power", "optical-signal-degraded", alarms.Major), raised("link/one", "x", alarms.Major)},
		view.Room:   {raised("unit/room1/supply_state/a", "supply-redundancy-lost", alarms.Major)},
		view.AtSite: {raised("site/quay", "unit-unreachable", alarms.Major)},
		view.Daemon: {raised("daemon", "clock-wrong", alarms.Major)},
	} {
		for _, one := range a {
			got, ok := view.NewBoard(view.Snapshot{Fleet: plant(), Alarms: []alarms.Alarm{one}}).Alarm(one.ID)
			require.True(t, ok)
			require.Equal(t, want, got.Place, "%s %s", one.Resource, one.Type)
		}
	}
}

func TestFilter(t *testing.T) {
	held, shelved, acked, closed, gone := raised("unit/a", "held", alarms.Major), raised("unit/a", "shelved", alarms.Major), raised("unit/a", "acked", alarms.Minor), raised("unit/a", "closed", alarms.Minor), raised("unit/a", "gone", alarms.Minor)
	held.Hold.Reason = alarms.HoldSymptom
	shelved.ShelfName, shelved.Operator = "own", alarms.Shelved
	acked.Operator, closed.Operator, gone.Cleared = alarms.OperatorAck, alarms.OperatorClosed, true
	list := []alarms.Alarm{held, shelved, acked, closed, gone, raised("unit/ab", "new", alarms.Warning)}
	b := view.NewBoard(view.Snapshot{Now: now, Fleet: plant(), Alarms: list})
	for name, c := range map[string]struct {
		f    view.Filter
		want []string
	}{
		"active":       {view.Filter{Condition: view.Active}, []string{"acked", "closed", "new"}},
		"new":          {view.Filter{Condition: view.New}, []string{"new"}},
		"acknowledged": {view.Filter{Condition: view.Acknowledged}, []string{"acked"}},
		"closed":       {view.Filter{Condition: view.Closed}, []string{"closed"}},
		"cleared":      {view.Filter{Condition: view.Gone}, []string{"gone"}},
		"held":         {view.Filter{Condition: view.Held}, []string{"held"}},
		"shelved":      {view.Filter{Condition: view.OnShelf}, []string{"shelved"}},
		"all":          {view.Filter{}, []string{"held", "shelved", "acked", "closed", "gone", "new"}},
		"at least":     {view.Filter{AtLeast: alarms.Major}, []string{"held", "shelved"}},
		"resource":     {view.Filter{Resource: "unit/ab"}, []string{"new"}},
		"type":         {view.Filter{Type: "gone"}, []string{"gone"}},
		"other site":   {view.Filter{Site: "hill"}, nil},
	} {
		require.NoError(t, c.f.Check())
		var got []string
		for _, a := range b.AlarmList(c.f) {
			got = append(got, a.Type)
		}
		require.ElementsMatch(t, c.want, got, name)
	}
	require.ErrorContains(t, view.Filter{Condition: "odd"}.Check(), `unknown state "odd": use active,`)
}

func TestRelatives(t *testing.T) {
	cause, symptom := raised("cable/riser", "cut", alarms.Critical), raised("unit/room1", "dark", alarms.Major)
	symptom.Hold = alarms.Hold{Reason: alarms.HoldSymptom, By: "cable/riser"}
	b := view.NewBoard(view.Snapshot{Fleet: plant(), Alarms: []alarms.Alarm{cause, symptom}})
	require.Equal(t, symptom.ID, b.Consequences(cause)[0].ID)
	require.Empty(t, b.Consequences(symptom))
	require.Equal(t, cause.ID, b.ByKey([]alarms.Key{cause.Key, {Resource: "purged"}})[0].ID)
}

func TestPage(t *testing.T) {
	items, id := []string{"a", "b", "c"}, func(s string) string { return s }
	for _, c := range []struct {
		limit int
		after string
		page  []string
		next  string
		ok    bool
	}{
		{2, "", []string{"a", "b"}, "b", true}, {3, "", items, "", true}, {9, "", items, "", true},
		{1, "b", []string{"c"}, "", true}, {2, "c", []string{}, "", true}, {2, "gone", nil, "", false},
	} {
		page, next, ok := view.Page(items, c.limit, c.after, id)
		require.Equal(t, c.ok, ok)
		require.Equal(t, c.next, next)
		require.Equal(t, len(c.page), len(page))
		require.Equal(t, append([]string{}, c.page...), append([]string{}, page...))
	}
}

func TestResolve(t *testing.T) {
	f := plant()
	for resource, want := range map[string][]string{"unit/roof": {"roof"}, "link/two": {"roof", "room2"}, "site/quay": {"roof", "room1", "room2"}, "site/hill": nil} {
		units, ok := view.Resolve(f, resource)
		require.True(t, ok, resource)
		require.Equal(t, want, units)
	}
	for _, odd := range []string{"", "unit", "unit/", "unit/x", "link/x", "site/x", "cable/riser", "unit/roof/uptime", "roof"} {
		_, ok := view.Resolve(f, odd)
		require.False(t, ok, odd)
	}
}

func TestSite(t *testing.T) {
	during := func(resources []string, _ time.Time) (collector.PlannedWork, bool) {
		for _, r := range resources {
			if r == "unit/roof" {
				return collector.PlannedWork{ID: "paint"}, true
			}
		}
		return collector.PlannedWork{}, false
	}
	b := view.NewBoard(view.Snapshot{Now: now, Fleet: plant(), During: during, Baseline: func(string) string { return view.Capturing },
		Alarms: []alarms.Alarm{raised("unit/room1", "x", alarms.Major)}})
	s, ok := b.Site("quay")
	require.True(t, ok)
	require.Equal(t, view.State("major"), s.State)
	require.Equal(t, []int{3, 3, 2, 1}, []int{s.Units, s.Silent, s.Links, s.Hurt}, "units, silent ones, links, hurt ones")
	require.Equal(t, "paint", s.Work)
	require.Len(t, s.Planned, 1)
	require.True(t, s.Planned[0].Now)
	require.InDelta(t, 3600.0, s.Planned[0].Seconds, 0)
	require.Equal(t, view.Capturing, s.UnitRows[0].Baseline)
	require.Len(t, s.Alarm, 1)

	hill, ok := b.Site("hill")
	require.True(t, ok)
	require.Equal(t, view.StateGood, hill.State)
	require.Empty(t, hill.Alarm)
	_, ok = b.Site("moon")
	require.False(t, ok)
}

// A link whose lost supply has a twin has an alarm, but is not hurt.
func TestBackedUpIsNotHurt(t *testing.T) {
	a := raised("unit/room1/supply_state/b", "supply-redundancy-lost", alarms.Minor)
	for _, backed := range []bool{true, false} {
		a.Details.BackedUp = backed
		b := view.NewBoard(view.Snapshot{Now: now, Fleet: plant(), Alarms: []alarms.Alarm{a}})
		s, ok := b.Site("quay")
		require.True(t, ok)
		require.Equal(t, view.State("minor"), s.State)
		require.Equal(t, !backed, s.Hurt == 1, "backed up: %v", backed)
	}
}
