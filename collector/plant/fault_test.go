package plant_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/plant"
)

// change is how far a reading stands from that of a twin plant without the
// fault, at the same moment and so with the same noise.
type change struct{ by, tol float64 }

// dark stands for a reading at the quantity's minimum, whatever it was.
var dark = change{math.Inf(-1), 0}

// changes of one unit by point; every point not named must be as in the twin.
type changes map[string]change

var (
	silent  changes                                                                   // the agent does not answer
	unheard = changes{"every reading": {}}                                            // nothing is known of the unit
	deaf    = changes{"optical_receive_power": dark, "optical_receive_state": {1, 0}} // receives no light
)

// with returns c and more.
func (c changes) with(more changes) changes {
	out := changes{}
	for _, m := range []changes{c, more} {
		for k, v := range m {
			out[k] = v
		}
	}
	return out
}

// The link c (outdoor unit deck, indoor unit module, cable tray at 1550 nm)
// has an indoor unit without gain control, so that RF shows the light.
func TestSignatures(t *testing.T) {
	noRF := changes{"rf_output_level": {-30, 2}}
	deckDeaf := deaf.with(changes{"rf_output_level": {-38, 3}, "rf_noise_floor": {0, 2}, "agc_attenuation": {-8, 0.5}})
	roofDown := map[string]changes{"deck": unheard, "module": deaf.with(noRF)}
	restarted := change{-3.6e6, 5e6} // any number of days

	for _, c := range []struct {
		name  string
		fault plant.Fault
		after time.Duration // since the fault; 0: 35 min
		want  map[string]changes
		slack float64 // for points not named
	}{
		{name: "1 connector: light falls a step, radio twice as much",
			fault: plant.Fault{Kind: "connector-dirty", Link: "c"},
			want:  map[string]changes{"module": {"optical_receive_power": {-1.8, 0.02}, "rf_output_level": {-3.6, 0.1}}}},
		{name: "1 connector behind gain control: the control hides it",
			fault: plant.Fault{Kind: "connector-dirty", Link: "a", Size: 1},
			want:  map[string]changes{"rack": {"optical_receive_power": {-1, 0.02}, "agc_attenuation": {-2, 0.26}}}},
		{name: "1 connector: more than gain control can hide",
			fault: plant.Fault{Kind: "connector-dirty", Link: "a", Size: 6},
			want:  map[string]changes{"rack": {"optical_receive_power": {-6, 0.02}, "agc_attenuation": {-8, 0.5}, "rf_output_level": {-4, 0.5}}}},
		{name: "2 bend: both fibres, 9.2 times as much at 1550 as at 1310 nm",
			fault: plant.Fault{Kind: "fibre-bend", Link: "c", Size: 0.2},
			want: map[string]changes{
				"module": {"optical_receive_power": {-1.84, 0.02}, "rf_output_level": {-3.68, 0.1}},
				"deck":   {"optical_receive_power": {-1.84, 0.02}, "agc_attenuation": {-3.68, 0.26}, "rf_noise_floor": {1.5, 1}}}},
		{name: "2 squeezed cable: every fibre in it",
			fault: plant.Fault{Kind: "fibre-bend", Cable: "riser", Size: 0.5},
			want: map[string]changes{
				"rack":   {"optical_receive_power": {-0.5, 0.02}, "agc_attenuation": {-1, 0.26}},
				"roof":   {"optical_receive_power": {-0.5, 0.02}, "agc_attenuation": {-1, 0.26}, "rf_noise_floor": {0.5, 0.5}},
				"mast":   {"optical_receive_power": {-0.5, 0.02}, "agc_attenuation": {-1, 0.26}, "rf_noise_floor": {0.5, 0.5}},
				"hall-1": {"optical_receive_power": {-0.5, 0.02}, "agc_attenuation": {-1, 0.5}},
				"hall-2": {"optical_receive_power": {-0.5, 0.02}, "agc_attenuation": {-1, 0.5}}}},
		{name: "3 one fibre open: its receiver dark, the laser as before",
			fault: plant.Fault{Kind: "fibre-open", Link: "c", Direction: "uplink"},
			want:  map[string]changes{"deck": deckDeaf}},
		{name: "3 downlink open: nothing heard from the roof",
			fault: plant.Fault{Kind: "fibre-open", Link: "c"}, want: roofDown},
		{name: "4 cable cut: all fibres of the cable",
			fault: plant.Fault{Kind: "cable-cut", Cable: "riser"},
			want: map[string]changes{
				"roof": unheard, "mast": unheard,
				"rack":   deaf.with(changes{"rf_output_level": {-23, 3}, "agc_attenuation": {-8, 0.5}}),
				"hall-1": deaf.with(changes{"rf_output_level": {-16, 3}, "agc_attenuation": {-8, 0.5}}),
				"hall-2": deaf.with(changes{"rf_output_level": {-16, 3}, "agc_attenuation": {-8, 0.5}})}},
		{name: "5 joint creep, half-way",
			fault: plant.Fault{Kind: "joint-creep", Link: "c", Size: 1.2, Ramp: 20 * day}, after: 10 * day,
			want: map[string]changes{"module": {"optical_receive_power": {-0.6, 0.02}, "rf_output_level": {-1.2, 0.1}}}},
		{name: "6 laser ageing: bias up, light held, radio and noise a little worse",
			fault: plant.Fault{Kind: "laser-ageing", Unit: "module", Ramp: -1},
			want: map[string]changes{
				"module": {"laser_bias": {2.76, 0.2}},
				"deck":   {"agc_attenuation": {-0.42, 0.26}, "rf_noise_floor": {1.5, 1}}}},
		{name: "6 laser worn out: bias at its limit, light falls",
			fault: plant.Fault{Kind: "laser-ageing", Unit: "module", Size: 470, Ramp: -1},
			want: map[string]changes{
				"module": {"laser_bias": {56, 3}, "optical_transmit_power": {-6, 2}},
				"deck":   {"optical_receive_power": {-6, 2}, "agc_attenuation": {-6, 2}, "rf_output_level": {0, 3}, "rf_noise_floor": {18, 5}}}},
		{name: "7 laser dark, its unit still answers",
			fault: plant.Fault{Kind: "laser-failed", Unit: "module"},
			want: map[string]changes{
				"module": {"optical_transmit_power": dark, "laser_bias": {-14, 2}, "laser_state": {3, 0}},
				"deck":   deckDeaf}},
		{name: "7 laser weak: bias at its limit, light 6 dB down at both ends",
			fault: plant.Fault{Kind: "laser-failed", Unit: "module", Size: 6},
			want: map[string]changes{
				"module": {"optical_transmit_power": {-6, 0.01}, "laser_bias": {56, 3}},
				"deck":   {"optical_receive_power": {-6, 0.02}, "agc_attenuation": {-8, 0.5}, "rf_output_level": {-4, 0.7}, "rf_noise_floor": {1, 2}}}},
		{name: "8 receiver weak: reading and radio wrong",
			fault: plant.Fault{Kind: "receiver-failed", Unit: "module", Size: 3},
			want:  map[string]changes{"module": {"optical_receive_power": {-3, 0.02}, "rf_output_level": {-6, 0.1}}}},
		{name: "8 receiver dead",
			fault: plant.Fault{Kind: "receiver-failed", Unit: "deck"}, want: map[string]changes{"deck": deckDeaf}},
		{name: "9 roof without power",
			fault: plant.Fault{Kind: "outdoor-power-lost", Unit: "deck"}, want: roofDown},
		{name: "9 all roof units of the site together",
			fault: plant.Fault{Kind: "outdoor-power-lost", Site: "quay"},
			want: map[string]changes{
				"roof": unheard, "mast": unheard, "deck": unheard, "module": deaf.with(noRF),
				"rack":   deaf.with(changes{"rf_output_level": {-23, 3}, "agc_attenuation": {-8, 0.5}}),
				"hall-1": deaf.with(changes{"rf_output_level": {-16, 3}, "agc_attenuation": {-8, 0.5}}),
				"hall-2": deaf.with(changes{"rf_output_level": {-16, 3}, "agc_attenuation": {-8, 0.5}})}},
		{name: "10 one of two supplies: nothing else",
			fault: plant.Fault{Kind: "supply-lost", Unit: "rack", Port: "b"},
			want:  map[string]changes{"rack": {"supply_state/b": {1, 0}, "supply_voltage/b": {-12, 0.2}}}},
		{name: "10 the only supply: the unit is off",
			fault: plant.Fault{Kind: "supply-lost", Unit: "module"},
			want:  map[string]changes{"module": silent, "deck": silent}},
		{name: "11 mains dip: uptimes begin anew together, two supplies ride through",
			fault: plant.Fault{Kind: "mains-dip", Site: "quay"}, slack: 0.11,
			want: map[string]changes{
				"roof": {"uptime": restarted}, "mast": {"uptime": restarted}, "deck": {"uptime": restarted},
				"hall-1": {"uptime": restarted}, "hall-2": {"uptime": restarted}, "module": {"uptime": restarted}}},
		{name: "12 water in the coax: radio in falls, current odd, optics as before",
			fault: plant.Fault{Kind: "water-in-coax", Unit: "deck"}, after: 20 * time.Minute,
			want: map[string]changes{
				"deck":   {"rf_input_level": {-5, 0.1}, "lna_current": {11.7, 1}},
				"module": {"rf_output_level": {-4.9, 0.2}}}},
		{name: "12 water dries: half after twelve hours",
			fault: plant.Fault{Kind: "water-in-coax", Unit: "deck"}, after: 12*time.Hour + 20*time.Minute,
			want: map[string]changes{
				"deck":   {"rf_input_level": {-2.5, 0.1}, "lna_current": {5.85, 0.6}},
				"module": {"rf_output_level": {-2.45, 0.2}}}},
		{name: "13 obstructed antenna: only radio",
			fault: plant.Fault{Kind: "antenna-obstructed", Unit: "deck"},
			want: map[string]changes{
				"deck": {"rf_input_level": {-4, 0.1}}, "module": {"rf_output_level": {-3.9, 0.2}}}},
		{name: "14 feed open",
			fault: plant.Fault{Kind: "antenna-feed-open", Unit: "deck"},
			want: map[string]changes{
				"deck":   {"rf_input_level": {-35, 0.1}, "lna_current": {-39, 4}, "antenna_feed_state": {1, 0}},
				"module": {"rf_output_level": {-18, 3}}}},
		{name: "14 feed shorted",
			fault: plant.Fault{Kind: "antenna-feed-short", Unit: "deck"},
			want: map[string]changes{
				"deck":   {"rf_input_level": {-35, 0.1}, "lna_current": {351, 4}, "antenna_feed_state": {2, 0}},
				"module": {"rf_output_level": {-18, 3}}}},
		{name: "15 receive monitor drifts: radio as before",
			fault: plant.Fault{Kind: "monitor-drift", Unit: "module", Point: "optical_receive_power", Ramp: -1},
			want:  map[string]changes{"module": {"optical_receive_power": {-2, 0.02}}}},
		{name: "15 transmit monitor drifts: far end as before",
			fault: plant.Fault{Kind: "monitor-drift", Unit: "module", Point: "optical_transmit_power", Size: 1.5, Ramp: -1},
			want:  map[string]changes{"module": {"optical_transmit_power": {1.5, 0.02}}}},
		{name: "16 tracking error at three in the afternoon: one direction, transmit monitor flat",
			fault: plant.Fault{Kind: "temperature-swing", Unit: "deck"}, after: 8 * time.Hour,
			want: map[string]changes{"module": {"optical_receive_power": {0.8, 0.03}, "rf_output_level": {1.6, 0.1}}}},
		{name: "16 closure at three in the morning: both directions",
			fault: plant.Fault{Kind: "temperature-swing", Cable: "tray"}, after: 20 * time.Hour,
			want: map[string]changes{
				"module": {"optical_receive_power": {0.8, 0.03}, "rf_output_level": {1.6, 0.1}},
				"deck":   {"optical_receive_power": {0.8, 0.03}, "agc_attenuation": {1.6, 0.26}, "rf_noise_floor": {-0.5, 0.4}}}},
		{name: "17 pair crossed: dark, lasers as before",
			fault: plant.Fault{Kind: "pair-crossed", Link: "c"}, want: roofDown},
		{name: "18 flat plug in an angled adaptor: a big step, noise up",
			fault: plant.Fault{Kind: "polish-mismatch", Link: "c", Direction: "uplink", Size: 3.8},
			want: map[string]changes{
				"deck": {"optical_receive_power": {-3.8, 0.02}, "agc_attenuation": {-7.6, 1.6}, "rf_output_level": {0, 1.5}, "rf_noise_floor": {8, 1.5}}}},
		{name: "19 restart of an agent: readings as before",
			fault: plant.Fault{Kind: "agent-restart", Unit: "module"},
			want:  map[string]changes{"module": {"uptime": restarted}}},
		{name: "19 during the restart",
			fault: plant.Fault{Kind: "agent-restart", Unit: "module"}, after: 5 * time.Second,
			want: map[string]changes{"module": silent, "deck": silent}},
		{name: "21 slope lost: optics as before, bias up, radio down",
			fault: plant.Fault{Kind: "slope-loss", Unit: "deck"},
			want: map[string]changes{
				"deck": {"laser_bias": {1, 0.3}}, "module": {"rf_output_level": {-1.94, 0.06}}}},
		{name: "22 reflection: only noise",
			fault: plant.Fault{Kind: "reflection", Link: "c", Direction: "uplink"},
			want:  map[string]changes{"deck": {"rf_noise_floor": {7, 1.5}}}},
		{name: "23 interference: radio in strongly up, optics as before",
			fault: plant.Fault{Kind: "interference", Unit: "deck"},
			want: map[string]changes{
				"deck": {"rf_input_level": {15, 0.1}}, "module": {"rf_output_level": {15, 0.2}}}},
		{name: "23 interference lifts the noise floor of the far end",
			fault: plant.Fault{Kind: "interference", Unit: "module"},
			want: map[string]changes{
				"module": {"rf_input_level": {15, 0.1}},
				"deck":   {"agc_attenuation": {15, 0.5}, "rf_noise_floor": {-7.5, 0.5}}}},
		{name: "25 unit exchanged: constant offsets",
			fault: plant.Fault{Kind: "unit-exchanged", Unit: "module"},
			want: map[string]changes{
				"module": {"uptime": restarted, "laser_bias": {0, 3}, "optical_receive_power": {0, 2.5}, "optical_transmit_power": {0, 3.5}, "rf_input_level": {0, 4}, "rf_output_level": {0, 4}},
				"deck":   {"optical_receive_power": {0, 1}, "agc_attenuation": {0, 4}, "rf_noise_floor": {0, 1}}}},
		{name: "26 management lost at the site: all silent",
			fault: plant.Fault{Kind: "management-lost", Site: "quay"},
			want:  map[string]changes{"roof": silent, "rack": silent, "mast": silent, "hall-1": silent, "hall-2": silent, "deck": silent, "module": silent}},
		{name: "26 management lost of one unit: its roof unit too",
			fault: plant.Fault{Kind: "management-lost", Unit: "module"},
			want:  map[string]changes{"deck": silent, "module": silent}},
		{name: "a sensor that the unit calls broken",
			fault: plant.Fault{Kind: "sensor-broken", Unit: "deck", Point: "temperature"},
			want:  map[string]changes{"deck": {"temperature": {math.NaN(), 0}}}},
	} {
		t.Run(c.name, func(t *testing.T) {
			well, ill := newBench(t, 1), newBench(t, 1)
			_, err := ill.Inject(c.fault, start.Add(time.Hour))
			require.NoError(t, err)
			if c.after == 0 {
				c.after = 35 * time.Minute
			}
			for _, u := range well.fleet.Units {
				require.Equal(t, well.read(u.ID, time.Hour-time.Second), ill.read(u.ID, time.Hour-time.Second), "before the fault")
				want, listed := c.want[u.ID]
				compare(t, u.ID, well.read(u.ID, time.Hour+c.after), ill.read(u.ID, time.Hour+c.after), want, listed, c.slack)
			}
		})
	}
}

const day = 24 * time.Hour

func compare(t *testing.T, unit string, well, ill map[string]float64, want changes, listed bool, slack float64) {
	t.Helper()
	if listed && want == nil {
		require.Nil(t, ill, "%s answers", unit)
		return
	}
	require.NotNil(t, ill, "%s is silent", unit)
	if _, ok := want["every reading"]; ok {
		require.Empty(t, ill, unit)
		return
	}
	for point, before := range well {
		w, changed := want[point]
		got, ok := ill[point]
		switch {
		case changed && math.IsNaN(w.by):
			require.False(t, ok, "%s %s", unit, point)
		case !changed:
			require.InDelta(t, before, got, slack+1e-9, "%s %s should be as before", unit, point)
		case w == dark:
			require.Equal(t, -45.0, got, "%s %s should be dark", unit, point)
		default:
			require.InDelta(t, w.by, got-before, w.tol+1e-9, "%s %s changed from %g to %g", unit, point, before, got)
			require.True(t, w.by == 0 || before != got, "%s %s should change", unit, point)
		}
	}
	for point := range want {
		require.Contains(t, well, point, "%s: the test names a point that the unit does not have", unit)
	}
}
