package diagnosis_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/diagnosis"
	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/plant"
)

// sight keeps the view that the diagnosis was last asked about.
func (tr *trial) sight(tb testing.TB) *alarms.View {
	models, err := model.Builtin()
	require.NoError(tb, err)
	fleet := tr.layout.fleet(tb, models)
	start := year.Add(tr.season)
	p, err := plant.New(fleet, models, plant.Config{Seed: tr.seed, Start: start})
	require.NoError(tb, err)
	begin := start.Add(31 * time.Hour)
	for _, f := range tr.faults {
		_, err := p.Inject(f, begin)
		require.NoError(tb, err)
	}
	pl := &player{t: tb, trial: tr, plant: p, fleet: fleet, uptime: map[string]float64{}}
	var last *alarms.View
	engine := alarms.NewEngine(alarms.EngineConfig{
		List: alarms.NewList(alarms.ListConfig{}), Baselines: pl.baselines(start),
		Diagnose: func(v *alarms.View) []alarms.Finding { last = v; return nil },
	})
	engine.SetFleet(fleet)
	for i := -3; i < 10; i++ {
		at := begin.Add(time.Duration(i) * time.Minute)
		for _, u := range fleet.Units {
			engine.Observe(pl.poll(u.ID, at))
		}
		engine.Evaluate(at)
	}
	require.NotNil(tb, last, "something must deviate")
	return last
}

// BenchmarkDiagnose is what one diagnosis costs: of a site with one link, and
// of one with forty, at several kinds of trouble. What the limits are: 200 µs
// and 10 ms.
func BenchmarkDiagnose(b *testing.B) {
	one := layout{links: 1, cables: 1, indoor: "rack-dual-supply", down: 1310, up: 1310}
	forty := layout{links: 40, cables: 2, indoor: "rack-dual-supply", down: 1310, up: 1310, via: true}
	sites := map[string]struct {
		layout layout
		faults []plant.Fault
	}{
		"one link, dirty connector":    {one, []plant.Fault{{Kind: "connector-dirty", Link: "l1"}}},
		"one link, two causes":         {one, []plant.Fault{{Kind: "connector-dirty", Link: "l1"}, {Kind: "slope-loss", Unit: "o1"}}},
		"one link, cut":                {one, []plant.Fault{{Kind: "cable-cut", Cable: "c1"}}},
		"forty links, dirty connector": {forty, []plant.Fault{{Kind: "connector-dirty", Link: "l1"}}},
		"forty links, cut of twenty":   {forty, []plant.Fault{{Kind: "cable-cut", Cable: "c1"}}},
		"forty links, five faults": {forty, []plant.Fault{
			{Kind: "connector-dirty", Link: "l1"}, {Kind: "antenna-obstructed", Unit: "o9"}, {Kind: "fibre-open", Link: "l22"},
			{Kind: "laser-failed", Unit: "i30"}, {Kind: "fibre-bend", Link: "l35"}}},
		"forty links, management lost": {forty, []plant.Fault{{Kind: "management-lost", Site: "s"}}},
	}
	for name, s := range sites {
		b.Run(name, func(b *testing.B) {
			tr := trial{layout: s.layout, faults: s.faults, seed: 5}
			v := tr.sight(b)
			b.ReportAllocs()
			for b.Loop() {
				if diagnosis.Diagnose(v) == nil {
					b.Fatal("nothing found")
				}
			}
		})
	}
}

func TestDiagnoseIsPure(t *testing.T) {
	tr := trial{
		layout: layout{links: 2, cables: 1, indoor: "rack-dual-supply", down: 1310, up: 1310},
		faults: []plant.Fault{{Kind: "connector-dirty", Link: "l1"}, {Kind: "slope-loss", Unit: "o2"}}, seed: 5,
	}
	v := tr.sight(t)
	before := make([]alarms.UnitView, len(v.Units))
	for i, u := range v.Units {
		before[i] = u.Clone()
	}
	first := diagnosis.Diagnose(v)
	require.NotEmpty(t, first)
	require.Equal(t, first, diagnosis.Diagnose(v), "the same view gives the same findings")
	for i, u := range v.Units {
		require.Equal(t, before[i], u.Clone(), "the view is the engine's")
	}
	v.Units = nil
	require.Empty(t, diagnosis.Diagnose(v), "a site of which nothing is known")
	v.Fleet = collector.NewFleet(collector.Fleet{})
	require.Empty(t, diagnosis.Diagnose(v))
}
