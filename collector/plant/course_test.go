package plant_test

import (
	"math"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/plant"
)

// spread returns mean and standard deviation of a point over a minute.
func (b *bench) spread(unit, point string, after time.Duration) (mean, sd float64) {
	var sum, squares float64
	for s := range 60 {
		x := b.read(unit, after+time.Duration(s)*time.Second)[point]
		sum, squares = sum+x, squares+x*x
	}
	mean = sum / 60
	return mean, math.Sqrt(max(0, squares/60-mean*mean))
}

// Fault table row 24: radio up and unstable, noise up.
func TestFeedbackIsUnstable(t *testing.T) {
	b := newBench(t, 1)
	quiet, still := b.spread("deck", "rf_input_level", 30*time.Minute)
	require.Less(t, still, 0.3)
	floor, _ := b.spread("deck", "rf_noise_floor", 30*time.Minute)
	_, err := b.Inject(plant.Fault{Kind: "feedback", Unit: "deck"}, start.Add(time.Hour))
	require.NoError(t, err)
	loud, unstable := b.spread("deck", "rf_input_level", 90*time.Minute)
	require.InDelta(t, 6, loud-quiet, 1.5)
	require.Greater(t, unstable, 1.5)
	_, out := b.spread("module", "rf_output_level", 90*time.Minute)
	require.Greater(t, out, 1.5)
	noisier, _ := b.spread("deck", "rf_noise_floor", 90*time.Minute)
	agc, _ := b.spread("deck", "agc_attenuation", 30*time.Minute)
	agcNow, _ := b.spread("deck", "agc_attenuation", 90*time.Minute)
	require.InDelta(t, 3, noisier+agcNow-floor-agc, 0.5, "noise before gain control")
}

// Fault table row 20: small uptime, little light and bias, recovers by itself.
func TestColdStart(t *testing.T) {
	const begin, cold, back = time.Hour, 3 * time.Hour, 3*time.Hour + 30*time.Minute
	b := newBench(t, 1)
	healthy := b.read("module", time.Hour)["optical_receive_power"]
	_, err := b.Inject(plant.Fault{Kind: "warm-up", Unit: "deck"}, start.Add(begin))
	require.NoError(t, err)

	before := b.read("deck", cold-time.Minute)
	require.InDelta(t, -25, before["temperature"], 0.5, "held by the heater")
	require.Equal(t, 1.0, before["heater_state"])
	require.Equal(t, 0.0, before["laser_state"])

	require.Empty(t, b.read("deck", cold+5*time.Minute))
	require.Equal(t, -45.0, b.read("module", cold+5*time.Minute)["optical_receive_power"])

	warming := b.read("deck", back+time.Minute)
	require.Equal(t, 60.0, warming["uptime"])
	require.Equal(t, 2.0, warming["laser_state"])
	require.Less(t, warming["temperature"], -30.0)
	require.InDelta(t, -12, warming["optical_transmit_power"], 1.3, "monitor error up to 1 dB")
	require.Less(t, warming["laser_bias"], before["laser_bias"]/2)
	dim := b.read("module", back+time.Minute)
	require.InDelta(t, healthy-11.5, dim["optical_receive_power"], 1, "dim, enough for the readings")
	require.Equal(t, 0.0, dim["optical_receive_state"])

	require.Less(t, b.read("deck", back+2*time.Minute)["temperature"], b.read("deck", back+4*time.Minute)["temperature"])
	warm := b.read("deck", back+20*time.Minute)
	require.Equal(t, 0.0, warm["laser_state"], "warm within the model's limit of 20 minutes")
	require.InDelta(t, healthy, b.read("module", back+20*time.Minute)["optical_receive_power"], 0.5)

	mild := b.read("deck", begin+9*time.Hour)
	require.Greater(t, mild["temperature"], 5.0)
	require.Equal(t, 0.0, mild["heater_state"])
}

func TestColdStartWithoutHeater(t *testing.T) {
	b := newBench(t, 1)
	for _, f := range []plant.Fault{{Kind: "heater-failed", Unit: "deck"}, {Kind: "warm-up", Unit: "deck"}} {
		_, err := b.Inject(f, start.Add(time.Hour))
		require.NoError(t, err)
	}
	late := b.read("deck", 6*time.Hour)
	require.Equal(t, 2.0, late["laser_state"], "still waiting")
	require.Equal(t, 2.0, late["heater_state"])
	require.Less(t, late["temperature"], -30.0)
}

// A mains dip of seconds in mild weather must not look like a cold start.
func TestShortOutageKeepsWarm(t *testing.T) {
	b := newBench(t, 1)
	_, err := b.Inject(plant.Fault{Kind: "mains-dip", Site: "quay"}, start.Add(time.Hour))
	require.NoError(t, err)
	after := b.read("deck", time.Hour+21*time.Second)
	require.Equal(t, 0.0, after["laser_state"])
	require.Equal(t, 1.0, after["uptime"])
	dip := b.read("rack", time.Hour+5*time.Second)
	require.Equal(t, 1.0, dip["supply_state/a"])
	require.Equal(t, 0.0, dip["supply_state/b"])
	require.Nil(t, b.read("module", time.Hour+5*time.Second))
}

func TestExchangeIsAnotherBox(t *testing.T) {
	b := newBench(t, 1)
	before := b.read("module", time.Hour-time.Minute)
	_, err := b.Inject(plant.Fault{Kind: "unit-exchanged", Unit: "module", For: 10 * time.Hour}, start.Add(time.Hour))
	require.NoError(t, err)
	first, later := b.read("module", time.Hour+time.Minute), b.read("module", 3*time.Hour)
	offset := first["optical_receive_power"] - before["optical_receive_power"]
	require.Greater(t, math.Abs(offset), 0.3)
	require.InDelta(t, offset, later["optical_receive_power"]-before["optical_receive_power"], 0.3, "constant")
	require.InDelta(t, before["optical_receive_power"], b.read("module", 12*time.Hour)["optical_receive_power"], 0.3, "the old box is back")
}

// The indoor unit keeps what it last heard of the roof unit, and the age says
// how old that is.
func TestReadingsOfADarkRoofGoStale(t *testing.T) {
	b := newBench(t, 1)
	_, err := b.Inject(plant.Fault{Kind: "cable-cut", Cable: "tray", For: time.Hour}, start.Add(time.Hour))
	require.NoError(t, err)
	last := b.read("deck", time.Hour-time.Second)
	require.NotEmpty(t, last)
	kept := b.read("deck", time.Hour+30*time.Second)
	require.InDelta(t, last["uptime"], kept["uptime"], 1)
	delete(last, "uptime")
	delete(kept, "uptime")
	require.Equal(t, last, kept, "as last heard, 30 s old")
	require.Empty(t, b.read("deck", time.Hour+62*time.Second), "older than the model allows")
	require.NotEmpty(t, b.read("deck", 2*time.Hour), "joined again")

	_, err = b.Inject(plant.Fault{Kind: "agent-restart", Unit: "module"}, start.Add(time.Hour+5*time.Second))
	require.NoError(t, err)
	require.Empty(t, b.read("deck", time.Hour+30*time.Second), "a new agent has not heard anything")
}

// Where the model has no time stamps an old value could not be told from a
// new one, so the objects go missing.
func TestReadingsWithoutTimeStampGoMissing(t *testing.T) {
	f, models := fleet(t)
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "plain.yaml"), []byte(`
model: plain-roof
roles: [outdoor]
supplies: 1
points:
  - {quantity: laser_bias, object: 1.3.6.1.4.1.32473.9.1.0, scale: 0.01, unit: mA}
`), 0o600))
	require.NoError(t, models.AddFolder(dir))
	m, ok := models.Model("plain-roof")
	require.True(t, ok)
	changed := *f
	for i := range changed.Units {
		if changed.Units[i].ID == "deck" {
			changed.Units[i].Equipment = m.Equipment
		}
	}
	p, err := plant.New(collector.NewFleet(changed), models, plant.Config{Start: start})
	require.NoError(t, err)
	has := func() bool {
		objects, silent := p.Objects("module", time.Now())
		require.False(t, silent)
		for _, o := range objects {
			if o.OID == "1.3.6.1.4.1.32473.9.1.0" {
				return true
			}
		}
		return false
	}
	require.True(t, has())
	_, err = p.Inject(plant.Fault{Kind: "fibre-open", Link: "c"}, start)
	require.NoError(t, err)
	require.False(t, has())
}

// Weather alone must not look like a fault, neither for a rule that knows the
// temperature nor, at high speed of the plant, for one that does not.
func TestWeatherIsCalm(t *testing.T) {
	limits := map[string]float64{ // greatest distance between any two readings of three days
		"temperature": 12, "optical_receive_power": 0.5, "optical_transmit_power": 0.2, "laser_bias": 3.5,
		"rf_input_level": 1.2, "rf_output_level": 2, "agc_attenuation": 1.5, "rf_noise_floor": 2.5,
		"lna_current": 2.5, "supply_voltage": 0.15, "supply_voltage/a": 0.15, "supply_voltage/b": 0.15,
	}
	for seed := range uint64(4) {
		b := newBench(t, seed)
		for _, u := range b.fleet.Units {
			low, high := map[string]float64{}, map[string]float64{}
			for h := range 72 * 4 {
				for point, x := range b.read(u.ID, time.Duration(h)*15*time.Minute) {
					if _, seen := low[point]; !seen {
						low[point], high[point] = x, x
					}
					low[point], high[point] = min(low[point], x), max(high[point], x)
				}
			}
			for point := range low {
				if point != "uptime" {
					require.LessOrEqual(t, high[point]-low[point], limits[point], "seed %d, %s %s", seed, u.ID, point)
				}
			}
			require.Greater(t, high["temperature"]-low["temperature"], 1.0, "%s has weather", u.ID)
		}
	}
}

// A model of a user's own: a laser and a receiver for every link, nothing
// said of limits, and supplies that it cannot tell of.
func TestPortsOfTheirOwn(t *testing.T) {
	f, models := fleet(t)
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "ports.yaml"), []byte(`
model: two-port-roof
roles: [outdoor]
supplies: 2
points:
  - {quantity: optical_receive_power, port: 1, object: 1.3.6.1.4.1.32473.9.1.1, scale: 0.01, unit: dBm, no_light: -4500}
  - {quantity: optical_receive_power, port: 2, object: 1.3.6.1.4.1.32473.9.1.2, scale: 0.01, unit: dBm, no_light: -4500}
  - {quantity: laser_bias, port: 1, object: 1.3.6.1.4.1.32473.9.2.1, scale: 0.01, unit: mA}
  - {quantity: laser_bias, port: 2, object: 1.3.6.1.4.1.32473.9.2.2, scale: 0.01, unit: mA}
  - {quantity: supply_voltage, object: 1.3.6.1.4.1.32473.9.3.0, scale: 0.01, unit: V}
  - {quantity: lna_current, object: 1.3.6.1.4.1.32473.9.4.0, scale: 0.1, unit: mA}
`), 0o600))
	require.NoError(t, models.AddFolder(dir))
	m, ok := models.Model("two-port-roof")
	require.True(t, ok)
	changed := *f
	for i := range changed.Units {
		if changed.Units[i].ID == "mast" {
			changed.Units[i].Equipment = m.Equipment
		}
	}
	changed.Sites = []collector.Site{{ID: "quay"}} // no time zone: UTC
	build := func() *bench {
		p, err := plant.New(collector.NewFleet(changed), models, plant.Config{Seed: 1, Start: start})
		require.NoError(t, err)
		now := time.Now()
		return &bench{p, t, &changed, models, now.Add(start.Sub(p.PlantTime(now)))}
	}
	well, ill := build(), build()
	well.fleet, ill.fleet = collector.NewFleet(changed), collector.NewFleet(changed)
	for _, fault := range []plant.Fault{
		{Kind: "fibre-open", Link: "b2", Direction: "uplink"},
		{Kind: "antenna-feed-short", Unit: "mast"},
		{Kind: "supply-lost", Unit: "mast"},
	} {
		_, err := ill.Inject(fault, start)
		require.NoError(t, err)
	}
	before, after := well.read("mast", time.Minute), ill.read("mast", time.Minute)
	require.NotEqual(t, before["laser_bias/1"], before["laser_bias/2"], "two lasers")
	require.InDelta(t, 24, before["supply_voltage"], 0.5)
	require.Equal(t, before["optical_receive_power/1"], after["optical_receive_power/1"])
	require.Equal(t, -45.0, after["optical_receive_power/2"])
	require.Greater(t, after["lna_current"], 2*before["lna_current"])
	require.Zero(t, after["supply_voltage"], "the other supply carries on")
	require.Less(t, before["optical_receive_power/1"], 1.5)
	require.Greater(t, well.read("hall-1", time.Minute)["optical_receive_power"], newBench(t, 1).read("hall-1", time.Minute)["optical_receive_power"]+2.5, "no splitter")
}
