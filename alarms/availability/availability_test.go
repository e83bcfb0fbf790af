package availability_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/availability"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

var (
	begin = time.Date(2026, 10, 1, 0, 0, 0, 0, time.UTC)
	end   = begin.AddDate(0, 1, 0) // 744 h
)

// h is a time so many hours into the month.
func h(hours float64) time.Time { return begin.Add(time.Duration(hours * float64(time.Hour))) }

func fleet() *collector.Fleet {
	f := collector.Fleet{
		Sites:  []collector.Site{{ID: "quay"}},
		Cables: []collector.Cable{{ID: "riser", Site: "quay"}},
		Units:  []collector.Unit{{ID: "roof", Site: "quay"}, {ID: "room-1", Site: "quay"}, {ID: "room-2", Site: "quay"}},
	}
	for i, room := range []string{"room-1", "room-2"} {
		f.Links = append(f.Links, collector.Link{ID: "q" + string(rune('1'+i)), Outdoor: "roof", Indoor: room,
			Downlink: collector.Path{Cable: "riser", Strand: 2*i + 1}, Uplink: collector.Path{Cable: "riser", Strand: 2*i + 2}})
	}
	return collector.NewFleet(f)
}

// alarm is how an alarm stands after a change.
type alarm struct{ alarms.Brief }

func of(resource, kind string, impacted ...string) alarm {
	return alarm{alarms.Brief{Key: alarms.Key{Resource: resource, Type: kind}, Severity: alarms.Critical, Impacted: impacted}}
}

func (a alarm) at(hours float64) availability.Change {
	return availability.Change{Time: h(hours), Alarm: a.Brief}
}

func (a alarm) gone(hours float64) availability.Change {
	a.Cleared = true
	return a.at(hours)
}

func (a alarm) held(hours float64, reason string) availability.Change {
	a.Hold = alarms.Hold{Reason: reason, By: "somebody"}
	return a.at(hours)
}

func (a alarm) backed() alarm {
	a.BackedUp = true
	return a
}

func TestFigures(t *testing.T) {
	lost := of("link/q1", rules.SignalLost, "link/q1")
	cable := of("cable/riser", rules.SignalLost)
	supply := of("unit/room-1", rules.SupplyFailed)
	silent := of("unit/room-1", rules.UnitUnreachable)
	degraded := of("link/q1", rules.SignalDegraded, "link/q1")
	type want struct {
		outages                         int
		lost, longest, planned, unknown float64 // hours
	}
	for name, c := range map[string]struct {
		log  availability.Log
		want want // of q1
	}{
		"nothing":                {availability.Log{}, want{}},
		"one outage":             {availability.Log{Changes: []availability.Change{lost.at(10), lost.gone(12)}}, want{1, 2, 2, 0, 0}},
		"two outages":            {availability.Log{Changes: []availability.Change{lost.at(10), lost.gone(12), lost.at(20), lost.gone(21)}}, want{2, 3, 2, 0, 0}},
		"two alarms, one outage": {availability.Log{Changes: []availability.Change{lost.at(10), cable.at(11), lost.gone(12), cable.gone(14)}}, want{1, 4, 4, 0, 0}},
		"a text changed":         {availability.Log{Changes: []availability.Change{lost.at(10), lost.at(11), lost.gone(12)}}, want{1, 2, 2, 0, 0}},
		"begun before the month": {availability.Log{Changes: []availability.Change{lost.gone(5)}}, want{1, 5, 5, 0, 0}},
		"still raised":           {availability.Log{Changes: []availability.Change{lost.at(740)}}, want{1, 4, 4, 0, 0}},
		"raised all the month":   {availability.Log{Standing: []alarms.Alarm{{Key: lost.Key, LastRaised: h(-9), Details: alarms.Details{Impacted: []string{"link/q1"}}}}}, want{1, 744, 744, 0, 0}},
		"purged while raised":    {availability.Log{Changes: []availability.Change{lost.at(10), {Time: h(13), Alarm: lost.Brief, Gone: true}}}, want{1, 3, 3, 0, 0}},
		"consequence of another": {availability.Log{Changes: []availability.Change{lost.held(10, alarms.HoldSymptom), lost.gone(12)}}, want{1, 2, 2, 0, 0}},
		"planned work":           {availability.Log{Changes: []availability.Change{lost.held(10, alarms.HoldPlannedWork), lost.gone(12)}}, want{0, 0, 0, 2, 0}},
		"longer than the work":   {availability.Log{Changes: []availability.Change{lost.held(10, alarms.HoldPlannedWork), lost.at(12), lost.gone(13)}}, want{1, 1, 1, 2, 0}},
		"degraded is in service": {availability.Log{Changes: []availability.Change{degraded.at(10), degraded.gone(300)}}, want{}},
		"a supply with no twin":  {availability.Log{Changes: []availability.Change{supply.at(10), supply.gone(12)}}, want{1, 2, 2, 0, 0}},
		"a supply with a twin":   {availability.Log{Changes: []availability.Change{supply.backed().at(10), supply.gone(12)}}, want{}},
		"the twin fails as well": {availability.Log{Changes: []availability.Change{supply.backed().at(10), supply.at(11), supply.gone(12)}}, want{1, 1, 1, 0, 0}},
		"an end does not answer": {availability.Log{Changes: []availability.Change{silent.at(10), silent.gone(12)}}, want{0, 0, 0, 0, 2}},
		"dark, then no answer":   {availability.Log{Changes: []availability.Change{lost.at(10), silent.at(11), lost.gone(12), silent.gone(14)}}, want{1, 2, 2, 0, 2}},
		"the daemon was off":     {availability.Log{Off: []availability.Span{{h(100), h(110)}}}, want{0, 0, 0, 0, 10}},
		"off during an outage":   {availability.Log{Off: []availability.Span{{h(11), h(12)}}, Changes: []availability.Change{lost.at(10), lost.gone(14)}}, want{2, 3, 2, 0, 1}},
		"the log begins later":   {availability.Log{From: h(44)}, want{0, 0, 0, 0, 44}},
		"another link is dark":   {availability.Log{Changes: []availability.Change{of("link/q2", rules.SignalLost, "link/q2").at(3)}}, want{}},
		"a site without mains":   {availability.Log{Changes: []availability.Change{of("site/quay", rules.MainsLost).at(3), of("site/quay", rules.MainsLost).gone(4)}}, want{1, 1, 1, 0, 0}},
	} {
		t.Run(name, func(t *testing.T) {
			f := fleet()
			got := availability.Of(f, f.Links, c.log, begin, end)[0]
			require.Equal(t, "q1", got.Link)
			require.Equal(t, c.want, want{got.Outages, got.Lost.Hours(), got.Longest.Hours(), got.Planned.Hours(), got.Unknown.Hours()})
			require.NotNil(t, got.Percent)
			known := 744 - c.want.planned - c.want.unknown
			require.InDelta(t, 100*(known-c.want.lost)/known, *got.Percent, 1e-9)
			require.InDelta(t, 60*c.want.lost, got.Minutes, 1e-6)
		})
	}
}

func TestNothingKnownHasNoPercent(t *testing.T) {
	f := fleet()
	got := availability.Of(f, f.Links, availability.Log{From: end}, begin, end)[1]
	require.Nil(t, got.Percent)
	require.Equal(t, 744*time.Hour, got.Unknown)
}

// TestCableTakesAllItsLinks goes by the resource where a line of the log names
// no links: lines from before these were kept have none.
func TestCableTakesAllItsLinks(t *testing.T) {
	f := fleet()
	cable := of("cable/riser", rules.SignalLost)
	for _, got := range availability.Of(f, f.Links, availability.Log{Changes: []availability.Change{cable.at(1), cable.gone(2)}}, begin, end) {
		require.Equal(t, time.Hour, got.Lost, got.Link)
	}
}

// TestPartsMakeTheWhole: whatever overlaps, no minute counts twice.
func TestPartsMakeTheWhole(t *testing.T) {
	f := fleet()
	lost, silent, supply := of("link/q1", rules.SignalLost, "link/q1"), of("unit/roof", rules.UnitUnreachable), of("unit/room-1", rules.SupplyFailed)
	log := availability.Log{From: h(2), Off: []availability.Span{{h(20), h(40)}, {h(30), h(50)}, {h(700), h(900)}}}
	log.Changes = []availability.Change{lost.held(1, alarms.HoldPlannedWork), silent.at(5), supply.at(10), lost.at(15), lost.gone(25), silent.gone(45), supply.gone(60), silent.at(650)}
	got := availability.Of(f, f.Links, log, begin, end)[0]
	known := 744*time.Hour - got.Planned - got.Unknown
	require.InDelta(t, *got.Percent, 100*(1-got.Lost.Hours()/known.Hours()), 1e-9)
	require.Equal(t, 13*time.Hour, got.Planned, "from 2 to 15")
	require.Equal(t, (2+30+44+50)*time.Hour, got.Unknown, "before the log; off from 20 to 50 and from 700; silent from 650")
	require.Equal(t, (5+10)*time.Hour, got.Lost, "from 15 to 20 and from 50 to 60")
}

func BenchmarkOf(b *testing.B) {
	f := fleet()
	lost := of("link/q1", rules.SignalLost, "link/q1")
	var log availability.Log
	for i := range 10_000 {
		log.Changes = append(log.Changes, lost.at(float64(i)/14), lost.gone(float64(i)/14+0.01))
	}
	b.ReportAllocs()
	for b.Loop() {
		availability.Of(f, f.Links, log, begin, end)
	}
}
