package rules_test

import (
	"fmt"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/diagnosis"
	"lightwell/alarms/rules"
	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/plant"
)

// A site of the simulated plant, watched from the day of commissioning on:
// models, plant, baselines, engine and rules together.
type watch struct {
	t      *testing.T
	plant  *plant.Plant
	fleet  *collector.Fleet
	book   *baseline.Book
	engine *alarms.Engine
	list   *alarms.List
	works  []alarms.Work
	life   map[string]collector.Reading
	heard  []string
}

// plantFleet has two pairs and a star of two, all in cable riser.
func plantFleet(t *testing.T, models *model.Set) *collector.Fleet {
	f := collector.Fleet{Sites: []collector.Site{{ID: "quay", Location: time.UTC}}, Cables: []collector.Cable{{ID: "riser", Site: "quay", LengthM: 300}}}
	for _, u := range [][4]string{
		{"roof-1", "outdoor-std", "rack-1", "outdoor"}, {"rack-1", "rack-dual-supply", "", "indoor"},
		{"roof-2", "outdoor-std", "rack-2", "outdoor"}, {"rack-2", "rack-entity-sensors", "", "indoor"},
		{"mast", "outdoor-std", "hall-1", "outdoor"}, {"hall-1", "compact-single-supply", "", "indoor"}, {"hall-2", "module-diagnostics", "", "indoor"},
	} {
		m, ok := models.Model(u[1])
		require.True(t, ok, u[1])
		f.Units = append(f.Units, collector.Unit{ID: u[0], Site: "quay", Role: collector.Role(u[3]), Equipment: m.Equipment, Via: u[2]})
	}
	for i, l := range [][2]string{{"roof-1", "rack-1"}, {"roof-2", "rack-2"}, {"mast", "hall-1"}, {"mast", "hall-2"}} {
		path := collector.Path{Cable: "riser", Strand: 2*i + 1, WavelengthNM: 1310, Connectors: 4, Splices: 2}
		up := path
		up.Strand++
		f.Links = append(f.Links, collector.Link{ID: fmt.Sprintf("l%d", i+1), Outdoor: l[0], Indoor: l[1], Use: collector.Repeater, Downlink: path, Uplink: up})
	}
	return collector.NewFleet(f)
}

// newWatch watches a plant whose fleet may have been changed.
func newWatch(t *testing.T, seed uint64, change ...func(*collector.Fleet)) *watch {
	models, err := model.Builtin()
	require.NoError(t, err)
	w := &watch{t: t, fleet: plantFleet(t, models), life: map[string]collector.Reading{}}
	for _, c := range change {
		if c != nil {
			c(w.fleet)
			w.fleet = collector.NewFleet(*w.fleet)
		}
	}
	w.plant, err = plant.New(w.fleet, models, plant.Config{Seed: seed, Start: time.Date(2026, 4, 14, 6, 0, 0, 0, time.UTC)})
	require.NoError(t, err)
	w.book, err = baseline.NewBook(&baseline.Memory{}, baseline.Default())
	require.NoError(t, err)
	w.book.SetFleet(w.fleet)
	w.list = alarms.NewList(alarms.ListConfig{Sink: func(changes []alarms.Change) {
		for _, c := range changes {
			if c.Notify {
				w.heard = append(w.heard, fmt.Sprintf("%s %s %s", c.Kind, c.Alarm.Type, c.Alarm.Resource))
			}
		}
	}})
	w.engine = alarms.NewEngine(alarms.EngineConfig{Rules: rules.All(), List: w.list, Baselines: w.book, Diagnose: diagnosis.Diagnose,
		Works: func(string, time.Time) []alarms.Work { return w.works }})
	w.engine.SetFleet(w.fleet)
	return w
}

// run polls all units every so often and returns what receivers heard.
func (w *watch) run(d, every time.Duration) []string {
	w.heard = nil
	for end := time.Now().Add(d); time.Now().Before(end); {
		for _, u := range w.fleet.Units {
			<-time.After(every / time.Duration(len(w.fleet.Units)))
			w.observe(u)
			w.engine.EvaluateAll(time.Now())
		}
	}
	return w.heard
}

// observe polls a unit.
func (w *watch) observe(u collector.Unit) {
	p := w.poll(u)
	w.book.Observe(p)
	w.engine.Observe(p)
}

func (w *watch) poll(u collector.Unit) collector.Poll {
	p := collector.Poll{Unit: u.ID, Started: time.Now().UTC().Round(0)}
	p.Readings, p.Err = w.plant.Prober().Probe(w.t.Context(), u)
	for _, r := range p.Readings {
		if r.Point.Quantity == collector.Uptime && r.Quality == collector.Good {
			last, known := w.life[u.ID]
			p.Restarted = known && r.Value < last.Value
			w.life[u.ID] = r
		}
	}
	return p
}

// commission takes a baseline of every unit, which is judged from then on.
func (w *watch) commission() {
	var ids []string
	for _, u := range w.fleet.Units {
		ids = append(ids, u.ID)
	}
	require.NoError(w.t, w.book.Begin(ids, "engineer", time.Now()))
	for range 18 {
		for _, u := range w.fleet.Units {
			<-time.After(20 * time.Second / time.Duration(len(w.fleet.Units)))
			w.observe(u)
		}
	}
	require.NoError(w.t, w.book.Accept(ids, "engineer", "", false, time.Now()))
}

func TestPlantFaults(t *testing.T) {
	for _, c := range []struct {
		fault plant.Fault
		want  []string
	}{
		{plant.Fault{Kind: "cable-cut", Cable: "riser"}, []string{"optical-signal-lost cable/riser"}},
		{plant.Fault{Kind: "fibre-open", Link: "l1"}, []string{"optical-signal-lost unit/rack-1/optical_receive_power"}},
		{plant.Fault{Kind: "connector-dirty", Link: "l2"}, []string{"optical-signal-degraded unit/rack-2/optical_receive_power"}},
		{plant.Fault{Kind: "laser-failed", Unit: "rack-1"}, []string{"laser-failed unit/rack-1/optical_transmit_power"}},
		{plant.Fault{Kind: "outdoor-power-lost", Unit: "mast"}, []string{"optical-signal-lost unit/mast"}},
		{plant.Fault{Kind: "supply-lost", Unit: "rack-1", Port: "b"}, []string{"supply-redundancy-lost unit/rack-1/supply_state/b"}},
		{plant.Fault{Kind: "antenna-feed-open", Unit: "roof-2"}, []string{"antenna-feed-fault unit/roof-2/antenna_feed_state"}},
		{plant.Fault{Kind: "antenna-obstructed", Unit: "roof-1", Size: 10}, []string{"rf-level-deviation unit/roof-1/rf_input_level"}},
		{plant.Fault{Kind: "sensor-broken", Unit: "rack-1", Point: "laser_bias"}, []string{"sensor-broken unit/rack-1/laser_bias"}},
		{plant.Fault{Kind: "laser-failed", Unit: "rack-1", Size: 5}, []string{"laser-failed unit/rack-1/optical_transmit_power"}},
		{plant.Fault{Kind: "receiver-failed", Unit: "rack-2"}, []string{"optical-signal-lost unit/rack-2/optical_receive_power"}},
		{plant.Fault{Kind: "outdoor-power-lost", Site: "quay"}, []string{"optical-signal-lost cable/riser"}},
		{plant.Fault{Kind: "monitor-drift", Unit: "rack-1", Point: "optical_receive_power", Ramp: -1}, []string{"optical-signal-degraded unit/rack-1/optical_receive_power"}},
		{plant.Fault{Kind: "management-lost", Site: "quay"}, []string{"unit-unreachable site/quay"}},
		{plant.Fault{Kind: "interference", Unit: "roof-1"}, []string{"rf-level-deviation unit/roof-1/rf_input_level"}},
		{plant.Fault{Kind: "fibre-bend", Cable: "riser", Size: 2}, []string{"optical-signal-degraded cable/riser"}},
		{plant.Fault{Kind: "fibre-bend", Link: "l1", Size: 4}, []string{"optical-signal-degraded link/l1"}},
		{plant.Fault{Kind: "mains-dip", Site: "quay"}, nil},
		{plant.Fault{Kind: "agent-restart", Unit: "hall-2"}, nil},
	} {
		t.Run(c.fault.Kind+" "+c.fault.Target(), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				w := newWatch(t, 1)
				w.commission()
				require.Empty(t, w.run(2*time.Minute, 10*time.Second), "sound")
				id, err := w.plant.Inject(c.fault, w.plant.PlantTime(time.Now()))
				require.NoError(t, err)
				heard := w.run(3*time.Minute, 10*time.Second)
				var raised, cleared []string
				for _, alarm := range c.want {
					raised, cleared = append(raised, "raised "+alarm), append(cleared, "cleared "+alarm)
				}
				require.Equal(t, raised, heard)
				if c.want == nil {
					return
				}
				require.NoError(t, w.plant.Repair(id, w.plant.PlantTime(time.Now())))
				require.Equal(t, cleared, w.run(3*time.Minute, 10*time.Second))
			})
		})
	}
}

// TestSoundDays: days of weather on a sound plant raise nothing.
func TestSoundDays(t *testing.T) {
	for seed := range uint64(2) {
		synctest.Test(t, func(t *testing.T) {
			w := newWatch(t, seed)
			w.commission()
			require.Empty(t, w.run(2*24*time.Hour, 30*time.Minute))
		})
	}
}
