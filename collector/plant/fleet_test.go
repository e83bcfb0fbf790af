package plant_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/plant"
)

// start is the plant time at which the plants of the tests begin.
var start = time.Date(2026, 4, 14, 6, 0, 0, 0, time.UTC)

// fleet returns a site "quay" with a roof unit that feeds one rack, a second
// roof unit that feeds two compact units, and a third without gain control
// read by itself; all in one cable but the last, whose fibres are at 1550 nm.
func fleet(t testing.TB) (*collector.Fleet, *model.Set) {
	t.Helper()
	models, err := model.Builtin()
	require.NoError(t, err)
	unit := func(id, modelName, via string, role collector.Role) collector.Unit {
		m, ok := models.Model(modelName)
		require.True(t, ok, modelName)
		return collector.Unit{ID: id, Site: "quay", Role: role, Equipment: m.Equipment, Via: via}
	}
	path := func(cable string, strand int, nm float64) collector.Path {
		return collector.Path{Cable: cable, Strand: strand, WavelengthNM: nm, Connectors: 4, Splices: 2}
	}
	link := func(id, outdoor, indoor, cable string, strand int, nm float64) collector.Link {
		return collector.Link{ID: id, Outdoor: outdoor, Indoor: indoor, Use: collector.Repeater, Downlink: path(cable, strand, nm), Uplink: path(cable, strand+1, nm)}
	}
	return collector.NewFleet(collector.Fleet{
		Sites:  []collector.Site{{ID: "quay", Location: time.UTC}},
		Cables: []collector.Cable{{ID: "riser", Site: "quay", LengthM: 500}, {ID: "tray", Site: "quay", LengthM: 90}},
		Units: []collector.Unit{
			unit("roof", "outdoor-std", "rack", collector.Outdoor),
			unit("rack", "rack-dual-supply", "", collector.Indoor),
			unit("mast", "outdoor-std", "hall-1", collector.Outdoor),
			unit("hall-1", "compact-single-supply", "", collector.Indoor),
			unit("hall-2", "compact-single-supply", "", collector.Indoor),
			unit("deck", "outdoor-std", "module", collector.Outdoor),
			unit("module", "module-diagnostics", "", collector.Indoor),
		},
		Links: []collector.Link{
			link("a", "roof", "rack", "riser", 1, 1310),
			link("b1", "mast", "hall-1", "riser", 3, 1310),
			link("b2", "mast", "hall-2", "riser", 5, 1310),
			link("c", "deck", "module", "tray", 1, 1550),
		},
	}), models
}

// bench is a plant of the test fleet, read at chosen plant times.
type bench struct {
	*plant.Plant
	t      testing.TB
	fleet  *collector.Fleet
	models *model.Set
	wall   time.Time
}

func newBench(t testing.TB, seed uint64) *bench {
	t.Helper()
	f, models := fleet(t)
	p, err := plant.New(f, models, plant.Config{Seed: seed, Start: start})
	require.NoError(t, err)
	now := time.Now()
	return &bench{p, t, f, models, now.Add(start.Sub(p.PlantTime(now)))}
}

// read returns the good readings of a unit, decoded from the objects of its
// agent, as they are some time after start; nil when the agent is silent.
func (b *bench) read(id string, after time.Duration) map[string]float64 {
	b.t.Helper()
	unit, ok := b.fleet.Unit(id)
	require.True(b.t, ok, id)
	agent := unit.Via
	if agent == "" {
		agent = id
	}
	objects, silent := b.Objects(agent, b.wall.Add(after))
	if silent {
		return nil
	}
	m, _ := b.models.Model(unit.Equipment.Model)
	raw := map[string]model.Value{}
	for _, o := range objects {
		raw[o.OID] = o.Value
	}
	good := map[string]float64{}
	for _, p := range m.Points {
		var values []model.Value
		for _, oid := range p.Objects() {
			values = append(values, raw[oid])
		}
		if d := p.Decode(values, uint32(raw["1.3.6.1.2.1.1.3.0"].Uint)); d.Quality == collector.Good {
			good[p.Point.String()] = d.Value
		}
	}
	return good
}
