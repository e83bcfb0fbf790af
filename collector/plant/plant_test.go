package plant_test

import (
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/plant"
)

func TestHealthyPlantIsWithinItsLimits(t *testing.T) {
	for seed := range uint64(20) {
		b := newBench(t, seed)
		for _, u := range b.fleet.Units {
			got := b.read(u.ID, time.Hour)
			for _, p := range u.Equipment.Points {
				require.Contains(t, got, p.String(), u.ID)
				if info, _ := p.Quantity.Info(); info.States != nil {
					require.Zero(t, got[p.String()], "seed %d: %s %s", seed, u.ID, p)
				}
			}
			l := u.Equipment.Limits
			require.Greater(t, got["optical_receive_power"], *l.ReceivePowerMinDBm, "seed %d: %s", seed, u.ID)
			require.Less(t, got["optical_receive_power"], *l.ReceivePowerMaxDBm, "seed %d: %s", seed, u.ID)
			require.Less(t, got["laser_bias"], *l.BiasMaxMA/2)
		}
	}
}

func TestSameSeedSamePlantInAnyOrder(t *testing.T) {
	a, b, other := newBench(t, 7), newBench(t, 7), newBench(t, 8)
	fault := plant.Fault{Kind: "connector-dirty", Link: "c", Size: 2.5}
	for _, p := range []*bench{a, b} {
		_, err := p.Inject(fault, start.Add(time.Hour))
		require.NoError(t, err)
	}
	times := []time.Duration{0, time.Minute, 90 * time.Minute, 26 * time.Hour, 400 * day}
	var forth, back []map[string]float64
	for i := range times {
		forth = append(forth, a.read("module", times[i]))
		back = append(back, b.read("module", times[len(times)-1-i]))
	}
	for i := range times {
		require.Equal(t, forth[i], back[len(times)-1-i])
	}
	require.NotEqual(t, forth[0], other.read("module", 0))
	require.NotEqual(t, forth[0], forth[1], "noise and time go on")
}

func TestSpeedAndUptime(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f, models := fleet(t)
		p, err := plant.New(f, models, plant.Config{Start: start, Speed: 60})
		require.NoError(t, err)
		before := ticks(t, p)
		<-time.After(10 * time.Second) // of the bubble
		require.Equal(t, start.Add(10*time.Minute), p.PlantTime(time.Now()))
		require.Equal(t, uint64(10*60*100), ticks(t, p)-before)

		zero, err := plant.New(f, models, plant.Config{})
		require.NoError(t, err)
		require.True(t, zero.Start().Equal(time.Now()))
		require.Equal(t, time.Now().Add(time.Hour), zero.PlantTime(time.Now().Add(time.Hour)))
	})
}

func ticks(t *testing.T, p *plant.Plant) uint64 {
	objects, silent := p.Objects("rack", time.Now())
	require.False(t, silent)
	for _, o := range objects {
		if o.OID == "1.3.6.1.2.1.1.3.0" {
			return o.Value.Uint
		}
	}
	t.Fatal("no sysUpTime")
	return 0
}

func TestAgents(t *testing.T) {
	b := newBench(t, 1)
	require.Equal(t, []plant.AgentInfo{
		{Unit: "rack", Units: []string{"rack", "roof"}},
		{Unit: "hall-1", Units: []string{"hall-1", "mast"}},
		{Unit: "hall-2", Units: []string{"hall-2"}},
		{Unit: "module", Units: []string{"module", "deck"}},
	}, b.Agents())
	for _, nobody := range []string{"roof", "unknown"} {
		objects, silent := b.Objects(nobody, b.wall)
		require.True(t, silent)
		require.Nil(t, objects)
	}
}

func TestObjects(t *testing.T) {
	b := newBench(t, 1)
	objects, silent := b.Objects("rack", b.wall)
	require.False(t, silent)
	var order []string
	text := map[string]string{}
	for _, o := range objects {
		order = append(order, o.OID)
		text[o.OID] = o.Value.String()
	}
	require.Equal(t, []string{"1.3.6.1.2.1.1.1.0", "1.3.6.1.2.1.1.2.0", "1.3.6.1.2.1.1.3.0", "1.3.6.1.2.1.1.5.0"}, order[:4])
	require.Equal(t, "1.3.6.1.4.1.32473.7.1", text["1.3.6.1.2.1.1.2.0"])
	require.Equal(t, `"rack"`, text["1.3.6.1.2.1.1.5.0"])
	for i := 1; i < len(order); i++ {
		require.Negative(t, plant.CompareOID(order[i-1], order[i]), "%s before %s", order[i-1], order[i])
	}
	require.Len(t, objects, 4+13+17, "system group, rack without its uptime, roof with its time stamp")
}

func TestCompareOID(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want int
	}{
		{"1.3.6.1.2", "1.3.6.1.10", -1}, {"1.3.6", "1.3.6.1", -1}, {"1.3.6.1", "1.3.6.1", 0}, {"1.3.6.1.4294967295", "1.3.6.1.1", 1}, {"", "1", -1},
	} {
		require.Equal(t, c.want, plant.CompareOID(c.a, c.b), "%s %s", c.a, c.b)
		require.Equal(t, -c.want, plant.CompareOID(c.b, c.a), "%s %s", c.b, c.a)
	}
}

func TestNewRefuses(t *testing.T) {
	f, models := fleet(t)
	edit := func(change func(*collector.Fleet)) *collector.Fleet {
		g := *f
		g.Units = append([]collector.Unit(nil), f.Units...)
		g.Links = append([]collector.Link(nil), f.Links...)
		change(&g)
		return collector.NewFleet(g)
	}
	for _, c := range []struct {
		name, want string
		change     func(*collector.Fleet)
	}{
		{"model", `unit "roof": unknown model "nothing"`, func(g *collector.Fleet) { g.Units[0].Equipment.Model = "nothing" }},
		{"outdoor unit of a link", `link "a": unknown unit "nowhere"`, func(g *collector.Fleet) { g.Links[0].Outdoor = "nowhere" }},
		{"indoor unit of a link", `link "a": unknown unit "nowhere"`, func(g *collector.Fleet) { g.Links[0].Indoor = "nowhere" }},
		{"via", `unit "roof" is read via "deck", which has no agent`, func(g *collector.Fleet) { g.Units[0].Via = "deck" }},
		{"shared objects", `units "roof" and "mast" are both read via "rack" and share object`, func(g *collector.Fleet) { g.Units[2].Via = "rack" }},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := plant.New(edit(c.change), models, plant.Config{})
			require.ErrorContains(t, err, c.want)
		})
	}
}

func TestSpeedIsChecked(t *testing.T) {
	f, models := fleet(t)
	for _, speed := range []float64{-1, math.NaN(), math.Inf(1), 2 * plant.MaxSpeed} {
		_, err := plant.New(f, models, plant.Config{Speed: speed})
		require.ErrorContains(t, err, "speed", "%g", speed)
	}
}

func TestInjectRefuses(t *testing.T) {
	b := newBench(t, 1)
	for _, c := range []struct {
		fault plant.Fault
		want  string
	}{
		{plant.Fault{Kind: "conector-dirty", Link: "a"}, `unknown fault "conector-dirty"; did you mean "connector-dirty"?`},
		{plant.Fault{Kind: "connector-dirty"}, "0 targets named; name one link"},
		{plant.Fault{Kind: "connector-dirty", Link: "a", Unit: "roof"}, "2 targets named"},
		{plant.Fault{Kind: "connector-dirty", Unit: "roof"}, "connector-dirty cannot strike a unit; name a link"},
		{plant.Fault{Kind: "connector-dirty", Link: "z"}, `unknown link "z"`},
		{plant.Fault{Kind: "cable-cut", Cable: "risr"}, `unknown cable "risr"; did you mean "riser"?`},
		{plant.Fault{Kind: "mains-dip", Site: "key"}, `unknown site "key"`},
		{plant.Fault{Kind: "outdoor-power-lost", Unit: "rack"}, "outdoor-power-lost strikes only outdoor units"},
		{plant.Fault{Kind: "connector-dirty", Link: "a", Direction: "sideways"}, `unknown direction "sideways"`},
		{plant.Fault{Kind: "agent-restart", Unit: "rack", Direction: "uplink"}, "a direction needs a link"},
		{plant.Fault{Kind: "connector-dirty", Link: "a", Size: 300}, "size 300 is not within 0.1 to 30 dB"},
		{plant.Fault{Kind: "cable-cut", Cable: "riser", Size: 3}, "cable-cut has no size"},
		{plant.Fault{Kind: "supply-lost", Unit: "rack"}, `unit "rack" has no supply ""`},
		{plant.Fault{Kind: "supply-lost", Unit: "rack", Port: "c"}, `unit "rack" has no supply "c"`},
		{plant.Fault{Kind: "monitor-drift", Unit: "rack", Point: "lna_current"}, `unit "rack" has no reading "lna_current"`},
		{plant.Fault{Kind: "agent-restart", Unit: "rack", Port: "a"}, "agent-restart strikes no single supply"},
		{plant.Fault{Kind: "agent-restart", Unit: "rack", Point: "uptime"}, "agent-restart strikes no single reading"},
	} {
		_, err := b.Inject(c.fault, start)
		require.ErrorContains(t, err, c.want)
	}
	require.Equal(t, newBench(t, 1).read("rack", time.Hour), b.read("rack", time.Hour), "nothing was put in")
}

func TestEveryKindCanBePlayed(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range plant.Kinds() {
		require.False(t, seen[k.Name], k.Name)
		seen[k.Name] = true
		require.NotEmpty(t, k.Title, k.Name)
		require.Equal(t, strings.ToLower(k.Name), k.Name)
		f := plant.Fault{Kind: k.Name}
		switch {
		case k.Targets&plant.AtUnit != 0:
			f.Unit = "roof"
		case k.Targets&plant.AtLink != 0:
			f.Link = "a"
		case k.Targets&plant.AtCable != 0:
			f.Cable = "riser"
		default:
			f.Site = "quay"
		}
		if k.Needs == "point" {
			f.Point = "temperature"
		}
		b := newBench(t, 1)
		_, err := b.Inject(f, start.Add(time.Hour))
		require.NoError(t, err, k.Name)
		b.read("rack", 2*time.Hour)
	}
}

func TestRepair(t *testing.T) {
	b, healthy := newBench(t, 1), newBench(t, 1)
	id, err := b.Inject(plant.Fault{Kind: "fibre-open", Link: "c"}, start.Add(time.Hour))
	require.NoError(t, err)
	require.NoError(t, b.Repair(id, start.Add(2*time.Hour)))
	require.Equal(t, -45.0, b.read("module", time.Hour+time.Minute)["optical_receive_power"], "the past stays")
	require.Equal(t, healthy.read("module", 2*time.Hour), b.read("module", 2*time.Hour))
	require.NoError(t, b.Repair(id, start.Add(3*time.Hour)), "over already")
	require.Equal(t, healthy.read("module", 2*time.Hour), b.read("module", 2*time.Hour))
	require.Error(t, b.Repair(99, start))
}

func TestFaultsAddUp(t *testing.T) {
	b, healthy := newBench(t, 1), newBench(t, 1)
	for _, size := range []float64{1, 2} {
		_, err := b.Inject(plant.Fault{Kind: "connector-dirty", Link: "c", Size: size}, start)
		require.NoError(t, err)
	}
	for _, port := range []string{"a", "b"} {
		_, err := b.Inject(plant.Fault{Kind: "supply-lost", Unit: "rack", Port: port, For: time.Hour}, start.Add(time.Hour))
		require.NoError(t, err)
	}
	require.InDelta(t, -3, b.read("module", time.Minute)["optical_receive_power"]-healthy.read("module", time.Minute)["optical_receive_power"], 0.01)
	require.Nil(t, b.read("rack", 90*time.Minute), "both supplies lost")
	require.InDelta(t, 60, b.read("rack", 2*time.Hour+time.Minute)["uptime"], 0.01)
}
