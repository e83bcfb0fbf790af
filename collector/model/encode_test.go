package model_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/model"
)

func unsigned(x uint64) []model.Value { return []model.Value{{Kind: model.Unsigned, Uint: x}} }

// TestEncode holds what a simulated unit puts on the wire.
func TestEncode(t *testing.T) {
	missing := []model.Value{{}}
	const special = one + "scale: 0.01, no_light: -4000, unavailable: -9998, broken: -9999"
	const supply = "quantity: supply_state, " + one
	for _, tt := range []struct {
		point   string
		value   float64
		quality collector.Quality
		want    []model.Value
	}{
		{receive + special, -7.124, collector.Good, number(-712)},
		{receive + special, -45, collector.Good, number(-4000)},
		{receive + special, 0, collector.Unavailable, number(-9998)},
		{receive + special, 0, collector.Broken, number(-9999)},
		{receive + special, 90, collector.OutOfRange, number(9000)},
		{receive + one + "unit: uW", -10, collector.Good, number(100)},
		{receive + one + "unit: uW", -45, collector.Good, number(0)},
		{receive + one, 0, collector.Broken, missing},
		{receive + one, math.NaN(), collector.Good, missing},
		{receive + one + "unit: nW", 6, collector.Good, number(3981072)},
		{receive + one + "unit: nW, scale: 0.001", 6, collector.Good, unsigned(3981071706)},
		{receive + one + "unit: nW, scale: 0.001", 15, collector.Good, unsigned(math.MaxUint32)}, // 32 bits are all there is
		{volts + one + "scale: -0.01", 12, collector.Good, number(-1200)},
		{level + one, math.Inf(-1), collector.Good, number(math.MinInt32)},
		{"quantity: uptime, " + one + "scale: 0.01", 12.34, collector.Good, unsigned(1234)},
		{"quantity: uptime, " + one, -1, collector.Good, unsigned(0)},
		{volts + one + "encoding: float", 4.96, collector.Good, float(4.96)},
		{volts + one + "encoding: float, unavailable: -1", 0, collector.Unavailable, float(-1)},
		{receive + one + "encoding: text", -3.2, collector.Good, text("-3.200 dBm")},
		{receive + one + "encoding: text, unit: uW", -10, collector.Good, text("100.000000 uW")},
		{bias + one + "encoding: text, broken: fault", 0, collector.Broken, text("fault")},
		{supply + "states: {4: good, 2: good, 3: failed}", 0, collector.Good, number(2)},
		{supply + "states: {1: good, 3: failed, 9: unavailable}", 0, collector.Unavailable, number(9)},
		{supply + "states: {1: good, 3: failed}", 2, collector.Good, missing}, // no such state
		{supply + "encoding: text, states: {1: good, no: failed}", 0, collector.Good, text("1")},
		{supply + "bits: {3: failed, 9: absent}, otherwise: good", 0, collector.Good, text("\x00\x00")},
		{supply + "bits: {3: failed, 9: absent}, otherwise: good", 1, collector.Good, text("\x10\x00")},
		{supply + "bits: {3: failed, 9: absent}, otherwise: good", 2, collector.Good, text("\x00\x40")},
		{supply + "bits: {3: failed, 9: absent}, otherwise: good", 2, collector.Broken, missing},
		{volts + sensor, 11.98, collector.Good, row(4, 9, 3, 11980, 1, 77)},
		{volts + sensor + ", unit: mV", 11.98, collector.Good, row(4, 8, 3, 11980000, 1, 77)},
		{"quantity: uptime, " + sensor, 5, collector.Good, row(1, 9, 0, 5, 1, 77)},
		{bias + sensor, 34, collector.Good, row(5, 8, 3, 34000, 1, 77)},
		{celsius + sensor, -40, collector.Good, row(8, 9, 3, -40000, 1, 77)},
		{receive + sensor + ", unit: uW", -10, collector.Good, row(6, 7, 3, 100000, 1, 77)},
		{receive + sensor + ", unit: nW", -10, collector.Good, row(6, 6, 1, 1000000, 1, 77)},
		{receive + sensor, -10, collector.Good, row(1, 9, 3, -10000, 1, 77)}, // there is no type for dBm
		{volts + sensor, 2e6, collector.Good, row(4, 9, 3, 1000000000, 1, 77)},
		{volts + sensor, -2e6, collector.Good, row(4, 9, 3, -1000000000, 1, 77)},
		{volts + sensor, 0, collector.Unavailable, row(4, 9, 3, 0, 2, 77)},
		{volts + sensor, 0, collector.Broken, row(4, 9, 3, 0, 3, 77)},
		{"quantity: optical_receive_state, " + sensor + ", states: {true: good, false: lost}", 1, collector.Good, row(12, 9, 0, 2, 1, 77)},
		{celsius + one + "encoding: sff8472, first_byte: 96", -25, collector.Good, octets(t, "e700 0000 0000 0000 0000 0000 0000 00")},
		{celsius + one + "encoding: sff8472, first_byte: 96", 0, collector.Unavailable, octets(t, "0000 0000 0000 0000 0000 0000 0000 01")},
		{celsius + one + "encoding: sff8472, first_byte: 96", 0, collector.Broken, missing},
		{"quantity: laser_state, " + one + "encoding: sff8472, first_byte: 110", 2, collector.Good, missing}, // it cannot say warming
	} {
		require.Equal(t, tt.want, point(t, tt.point).Encode(tt.value, tt.quality, 77), "%s %g %s", tt.point, tt.value, tt.quality)
	}
}

// TestEveryUnit: each unit that fits a quantity comes back through every
// encoding that takes a unit.
func TestEveryUnit(t *testing.T) {
	type scaled struct {
		unit  string
		scale float64 // of an integer that resolves enough and fits into 32 bits
	}
	for _, tt := range []struct {
		quantity string
		units    []scaled
		value    float64
	}{
		{"optical_receive_power", []scaled{{"dBm", 0.01}, {"W", 1e-9}, {"mW", 1e-6}, {"uW", 1e-3}, {"µW", 1e-3}, {"nW", 1}}, -7.1},
		{"laser_bias", []scaled{{"mA", 0.01}, {"A", 1e-5}, {"uA", 10}, {"µA", 1}}, 34.25},
		{"temperature", []scaled{{"C", 0.1}, {"°C", 0.5}, {"K", 0.01}, {"F", 0.01}, {"°F", 0.01}}, -25.5},
		{"supply_voltage", []scaled{{"V", 0.01}, {"mV", 10}}, 11.98},
		{"agc_attenuation", []scaled{{"dB", 0.25}}, 12.5},
		{"rf_noise_floor", []scaled{{"dBm/Hz", 0.1}}, -140.5},
		{"uptime", []scaled{{"s", 0.01}, {"ms", 1}, {"min", 1}, {"h", 1}}, 3600},
	} {
		for _, u := range tt.units {
			for _, encoding := range []string{fmt.Sprintf("%sscale: %g", one, u.scale), one + "encoding: float", one + "encoding: text, scale: 0.001", "encoding: entity_sensor, row: 3"} {
				p := point(t, fmt.Sprintf("quantity: %s, unit: %q, %s", tt.quantity, u.unit, encoding))
				got := p.Decode(p.Encode(tt.value, collector.Good, 0), 0)
				require.Equal(t, collector.Good, got.Quality, "%s %s %s: %s", tt.quantity, u.unit, encoding, got.Note)
				require.InDelta(t, tt.value, got.Value, 0.01, "%s %s %s", tt.quantity, u.unit, encoding)
			}
		}
	}
}
