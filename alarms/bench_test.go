package alarms_test

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// bigSite is a site of ten units with 24 points each, all with baselines, and
// a rule that gives a verdict for each point.
func bigSite(b *testing.B) (*alarms.Engine, *alarms.List, []collector.Poll) {
	source := levels{}
	var points []collector.Point
	for i := range 24 {
		p := collector.Point{Quantity: collector.OpticalReceivePower, Port: fmt.Sprint(i)}
		points = append(points, p)
		source[p] = baseline.Level{Value: -3, Spread: 0.05, TempCoeff: 0.01}
	}
	fleet := collector.Fleet{Sites: []collector.Site{{ID: "s"}}}
	var polls []collector.Poll
	for i := range 10 {
		id := fmt.Sprint("u", i)
		fleet.Units = append(fleet.Units, collector.Unit{ID: id, Site: "s", Equipment: collector.Equipment{Points: points}})
		p := collector.Poll{Unit: id, Started: start}
		for j, point := range points {
			p.Readings = append(p.Readings, collector.Reading{Unit: id, Point: point, Value: -3 - float64(j)/10, Taken: start})
		}
		polls = append(polls, p)
	}
	rule := signalLost()
	rule.say = func(v *alarms.View) []alarms.Verdict {
		out := make([]alarms.Verdict, 0, 240)
		for _, u := range v.Units {
			for _, p := range points {
				pv := u.Points[p]
				out = append(out, alarms.Verdict{Resource: "unit/" + u.Unit.ID + "/" + p.String(), Active: pv.Deviation < -2.2, Text: "x", Seen: pv.Reading.Taken})
			}
		}
		return out
	}
	list := alarms.NewList(alarms.ListConfig{})
	e := alarms.NewEngine(alarms.EngineConfig{Rules: []alarms.Rule{rule}, List: list, Baselines: source})
	e.SetFleet(collector.NewFleet(fleet))
	for _, p := range polls {
		e.Observe(p)
	}
	e.EvaluateAll(start)
	require.Len(b, list.Alarms(alarms.Filter{}), 10)
	return e, list, polls
}

// One evaluation of ten units, 240 points, 240 verdicts, 10 active alarms.
func BenchmarkEvaluateSite(b *testing.B) {
	e, _, _ := bigSite(b)
	b.ReportAllocs()
	for b.Loop() {
		e.EvaluateAll(start)
	}
}

func BenchmarkObserve(b *testing.B) {
	e, _, polls := bigSite(b)
	b.ReportAllocs()
	for b.Loop() {
		e.Observe(polls[0])
	}
}

func BenchmarkEachUnit(b *testing.B) {
	e, _, _ := bigSite(b)
	b.ReportAllocs()
	n := 0
	for b.Loop() {
		e.EachUnit(func(u *alarms.UnitView) bool { n += len(u.Points); return true })
	}
}

func manyAlarms(n int) *alarms.List {
	l := alarms.NewList(alarms.ListConfig{})
	us := make([]alarms.Update, n)
	for i := range us {
		us[i] = alarms.Update{
			Key: alarms.Key{Resource: fmt.Sprint("unit/u", i), Type: "t"}, Site: fmt.Sprint("s", i/100), Active: true,
			Severity: alarms.Warning + alarms.Severity(i%4), Text: "x", Details: alarms.Details{Impacted: []string{"link/a"}, Actions: []string{"look"}},
		}
	}
	l.Apply(start, us...)
	return l
}

func BenchmarkListOf10000(b *testing.B) {
	l := manyAlarms(10_000)
	site := alarms.Filter{Site: "s7"}
	for name, fn := range map[string]func(){
		"all copied": func() { l.Alarms(alarms.Filter{}) },
		"one site":   func() { l.Alarms(site) },
		"each":       func() { l.Each(alarms.Filter{}, func(*alarms.Alarm) bool { return true }) },
		"summary":    func() { l.Summary() },
		"by id":      func() { l.Alarm(alarms.NewID(alarms.Key{Resource: "unit/u77", Type: "t"})) },
		"change, summary": func() {
			l.Apply(start.Add(time.Second), alarms.Update{Key: alarms.Key{Resource: "unit/u7", Type: "t"}, Active: true, Severity: alarms.Major, Details: alarms.Details{Unit: fmt.Sprint(time.Now())}})
			l.Summary()
		},
	} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				fn()
			}
		})
	}
}
