package model_test

import (
	"encoding/hex"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/model"
)

// point loads a model with that one point, written as in a model file.
func point(t testing.TB, text string) model.Point {
	t.Helper()
	m, err := model.Parse("test.yaml", []byte("model: test\nroles: [indoor]\nsupplies: 1\npoints:\n  - {"+text+"}\n"))
	require.NoError(t, err)
	return m.Points[0]
}

func number(i int64) []model.Value { return []model.Value{{Kind: model.Integer, Int: i}} }
func float(x float64) []model.Value {
	return []model.Value{{Kind: model.Float, Float: x}}
}
func text(s string) []model.Value { return []model.Value{{Kind: model.Bytes, Bytes: []byte(s)}} }
func octets(t testing.TB, s string) []model.Value {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	require.NoError(t, err)
	return []model.Value{{Kind: model.Bytes, Bytes: b}}
}

// row is a row of the ENTITY-SENSOR-MIB in the order of Objects.
func row(typ, scale, precision, value, status int64, stamp uint32) []model.Value {
	var v []model.Value
	for _, x := range []int64{value, typ, scale, precision, status} {
		v = append(v, number(x)...)
	}
	return append(v, model.Value{Kind: model.Unsigned, Uint: uint64(stamp)})
}

const (
	receive = "quantity: optical_receive_power, "
	level   = "quantity: rf_output_level, "
	volts   = "quantity: supply_voltage, "
	celsius = "quantity: temperature, "
	bias    = "quantity: laser_bias, "
	one     = "object: 1.3.6.1.4.1.32473.9.1.0, "
	sensor  = "encoding: entity_sensor, row: 7"
)

func TestDecodeNumbers(t *testing.T) {
	for _, tt := range []struct {
		point  string
		raw    []model.Value
		want   float64
		within float64
		source string
	}{
		{receive + one + "unit: mW", number(1), 0, 1e-12, "10 log10 1"},
		{receive + one + "unit: mW, scale: 0.1", number(5), -3.0103, 1e-4, "10 log10 0.5"},
		{receive + one + "unit: mW", number(2), 3.0103, 1e-4, "10 log10 2"},
		{receive + one + "unit: µW", number(1), -30, 1e-9, "10 log10 0.001"},
		{receive + one + "unit: μW", number(1), -30, 1e-9, "the other micro sign"},
		{receive + one + "unit: nW", number(50), -43.0103, 1e-4, "10 log10 5e-5"},
		{receive + one + "unit: W, scale: 0.0001", number(1), -10, 1e-9, "0.1 mW"},
		{receive + one + "unit: mW, scale: 0.00001", number(19498), -7.1, 1e-4, "0.19498 mW = -7.1 dBm"},
		{receive + one + "scale: 0.01", number(-712), -7.12, 0, "exact"},
		{receive + one + "scale: 0.1, offset: -50", number(431), -6.9, 1e-12, "offset in the unit"},
		{volts + one + "scale: 10, unit: mV", number(1198), 11.98, 0, "11980 mV"},
		{bias + one + "unit: A, scale: 0.000002", number(15000), 30, 1e-9, "2 µA steps"},
		{bias + one + "unit: uA", number(8240), 8.24, 0, ""},
		{celsius + one + "unit: K, scale: 0.1", number(2982), 25.05, 1e-9, "298.2 - 273.15"},
		{celsius + one + "unit: F", number(77), 25, 1e-9, "(77 - 32) 5/9"},
		{celsius + one + "unit: °F", number(-40), -40, 1e-9, "where both scales meet"},
		{"quantity: uptime, " + one + "scale: 0.01", []model.Value{{Kind: model.Unsigned, Uint: math.MaxUint32}}, 42949672.95, 1e-6, "RFC 3418: sysUpTime in hundredths"},
		{"quantity: uptime, " + one + "unit: h", number(36), 129600, 0, ""},
		{volts + one + "encoding: float", float(4.96), 4.96, 0, ""},
		{volts + one + "encoding: float", octets(t, "409eb852"), 4.96, 1e-6, "IEEE 754 single"},
		{volts + one + "encoding: float", octets(t, "9f7804 409eb852"), 4.96, 1e-6, "single in Opaque"},
		{volts + one + "encoding: float", octets(t, "4013d70a3d70a3d7"), 4.96, 1e-12, "IEEE 754 double"},
		{volts + one + "encoding: float", octets(t, "9f7908 4013d70a3d70a3d7"), 4.96, 1e-12, "double in Opaque"},
		{volts + one + "encoding: float, scale: 0.001", float(4960), 4.96, 0, ""},
		{receive + one + "encoding: text", text("-3.2 dBm"), -3.2, 0, ""},
		{receive + one + "encoding: text", text(" -3.2dBm \x00"), -3.2, 0, ""},
		{receive + one + "encoding: text", text("-3.2"), -3.2, 0, "no unit: the model's"},
		{receive + one + "encoding: text, unit: uW", text("100"), -10, 1e-9, ""},
		{receive + one + "encoding: text, unit: uW", text("0.5 mW"), -3.0103, 1e-4, "its own unit counts"},
		{receive + one + "encoding: text", text("250 µW"), -6.0206, 1e-4, ""},
		{receive + one + "encoding: text, unit: mW", text("1.0E-3"), -30, 1e-9, ""},
		{receive + one + "encoding: text", number(-3), -3, 0, "an agent that sends a number after all"},
		{celsius + one + "encoding: text", text("+25.3 °C"), 25.3, 0, ""},
		{bias + one + "encoding: text", text("34.0 mA"), 34, 0, ""},
	} {
		got := point(t, tt.point).Decode(tt.raw, 0)
		require.Equal(t, collector.Good, got.Quality, "%s %v: %s", tt.point, tt.raw, got.Note)
		require.InDelta(t, tt.want, got.Value, tt.within, "%s %v (%s)", tt.point, tt.raw, tt.source)
	}
}

func TestDecodeNoValue(t *testing.T) {
	const special = one + "scale: 0.01, no_light: -4000, unavailable: -9998, broken: -9999"
	for _, tt := range []struct {
		point string
		raw   []model.Value
		want  collector.Quality
		note  string
	}{
		{receive + special, []model.Value{{}}, collector.Unavailable, "the unit has no such object"},
		{receive + special, []model.Value{{Kind: model.Null}}, collector.Unavailable, "the unit answers without a value"},
		{receive + special, nil, collector.Unavailable, "the answer is incomplete"},
		{receive + special, append(number(1), number(2)...), collector.Unavailable, "the answer is incomplete"},
		{receive + special, number(-9998), collector.Unavailable, "the unit says that it has no value"},
		{receive + special, number(-9999), collector.Broken, "the unit says that its sensor is broken"},
		{receive + special, number(-4501), collector.OutOfRange, "-45.01 is outside -45 to 15 dBm"},
		{receive + special, number(1501), collector.OutOfRange, "15.01 is outside -45 to 15 dBm"},
		{receive + special, text("-3.2 dBm"), collector.OutOfRange, `not a number: "-3.2 dBm"`},
		{receive + special, []model.Value{{Kind: model.Object, OID: "1.3.6"}}, collector.OutOfRange, "not a number: 1.3.6"},
		{receive + one + "unit: uW", number(-1), collector.OutOfRange, "negative power"},
		{volts + one + "encoding: float", float(math.NaN()), collector.OutOfRange, "NaN is outside 0 to 500 V"},
		{volts + one + "encoding: float", float(math.Inf(1)), collector.OutOfRange, "+Inf is outside 0 to 500 V"},
		{volts + one + "encoding: float", octets(t, "4013d7"), collector.OutOfRange, "not a number: 0x4013d7"},
		{receive + one + "encoding: text", text("-3.2 V"), collector.OutOfRange, `not a number: "-3.2 V"`},
		{receive + one + "encoding: text", text("dBm"), collector.OutOfRange, `not a number: "dBm"`},
		{receive + one + "encoding: text", text(""), collector.OutOfRange, `not a number: ""`},
		{receive + one + "encoding: text", text("3-2"), collector.OutOfRange, `not a number: "3-2"`},
		{receive + one + "encoding: text", text(strings.Repeat("1", 65)), collector.OutOfRange, "not a number: \"" + strings.Repeat("1", 65) + "\""},
		{bias + one + "encoding: text, broken: fault", text("FAULT"), collector.Broken, "the unit says that its sensor is broken"},
		{volts + one + "encoding: text, unavailable: n/a", text(" n/a "), collector.Unavailable, "the unit says that it has no value"},
	} {
		require.Equal(t, model.Decoded{Quality: tt.want, Note: tt.note}, point(t, tt.point).Decode(tt.raw, 0), "%s %v", tt.point, tt.raw)
	}
}

// TestNoLight: darkness is a good reading at the bottom of the range.
func TestNoLight(t *testing.T) {
	for _, tt := range []struct {
		point string
		raw   []model.Value
		value float64
		note  string
	}{
		{receive + one + "scale: 0.01, no_light: -4000", number(-4000), -45, model.NoLight},
		{receive + one + "scale: 0.01, no_light: -4000", number(-4001), -40.01, ""},
		{receive + one + "unit: uW", number(0), -45, model.NoLight},
		{receive + one + "unit: nW", number(31), -45, model.NoLight}, // -45.09 dBm
		{receive + one + "unit: nW", number(32), 10 * math.Log10(32e-6), ""},
		{receive + one + "encoding: text", text("0.0 mW"), -45, model.NoLight},
		{receive + one + "encoding: text, no_light: Low", text("low"), -45, model.NoLight},
		{"quantity: optical_transmit_power, " + one + "unit: mW", number(0), -45, model.NoLight},
		{level + one + "unit: mW", number(0), -150, model.NoSignal},
		{receive + sensor, row(6, 7, 0, 0, 1, 0), -45, model.NoLight},
		{receive + one + "encoding: sff8472, first_byte: 104", octets(t, "0000"), -45, model.NoLight},
	} {
		got := point(t, tt.point).Decode(tt.raw, 0)
		require.Equal(t, collector.Good, got.Quality, tt.point)
		require.InDelta(t, tt.value, got.Value, 1e-9, tt.point)
		require.Equal(t, tt.note, got.Note, tt.point)
	}
}

func TestDecodeStates(t *testing.T) {
	const (
		supply = "quantity: supply_state, " + one + "states: {1: good, 2: failed, 3: absent, 4: unavailable, 5: broken, 12: failed}"
		words  = "quantity: supply_state, " + one + "encoding: text, states: {ok: good, fail: failed, 7: absent}"
		// alarm is entStateAlarm of RFC 4268, whose bit names are unknown 0,
		// underRepair 1, critical 2, major 3, minor 4, warning 5.
		alarm = "quantity: supply_state, object: 1.3.6.1.2.1.131.1.1.1.5.21, bits: {0: unavailable, 2: failed, 3: absent}, otherwise: good"
		// flags are octets 112 and 113 of SFF-8472: bias high alarm 0x08 of
		// the first, receive power low alarm 0x40 of the second.
		flagBias  = "quantity: laser_state, " + one + "bits: {4: failed}, otherwise: on"
		flagLight = "quantity: optical_receive_state, " + one + "bits: {9: lost}, otherwise: good"
	)
	for _, tt := range []struct {
		point   string
		raw     []model.Value
		state   string
		quality collector.Quality
		source  string
	}{
		{supply, number(1), "good", 0, ""},
		{supply, number(2), "failed", 0, ""},
		{supply, number(12), "failed", 0, ""},
		{supply, []model.Value{{Kind: model.Unsigned, Uint: 3}}, "absent", 0, ""},
		{supply, number(4), "", collector.Unavailable, ""},
		{supply, number(5), "", collector.Broken, ""},
		{supply, number(0), "", collector.OutOfRange, "not in the model"},
		{supply, text("2"), "failed", 0, "an agent that sends digits"},
		{words, text(" OK\x20"), "good", 0, ""},
		{words, text("fail"), "failed", 0, ""},
		{words, number(7), "absent", 0, ""},
		{words, text("burning"), "", collector.OutOfRange, ""},
		{alarm, octets(t, "20"), "failed", 0, "RFC 4268 with RFC 3417 8: 0x20 is critical"},
		{alarm, octets(t, "14"), "absent", 0, "0x14 is major and warning"},
		{alarm, octets(t, "30"), "failed", 0, "the lowest bit wins"},
		{alarm, octets(t, "80"), "", collector.Unavailable, "0x80: cannot report"},
		{alarm, octets(t, "00"), "good", 0, "none active"},
		{alarm, octets(t, ""), "good", 0, "trailing zero bits need not be sent"},
		{alarm, octets(t, "00ffff"), "good", 0, "trailing bits are ignored"},
		{alarm, number(32), "", collector.OutOfRange, ""},
		{flagBias, octets(t, "0840"), "failed", 0, "SFF-8472 table of flags"},
		{flagLight, octets(t, "0840"), "lost", 0, "SFF-8472 table of flags"},
		{flagLight, octets(t, "0880"), "good", 0, "receive power high"},
		{flagLight, octets(t, "08"), "good", 0, ""},
		{"quantity: optical_receive_state, " + sensor + ", states: {true: good, false: lost}", row(12, 9, 0, 1, 1, 0), "good", 0, "RFC 3433 truthvalue"},
		{"quantity: optical_receive_state, " + sensor + ", states: {true: good, false: lost}", row(12, 9, 0, 2, 1, 0), "lost", 0, "RFC 3433 truthvalue"},
		{"quantity: optical_receive_state, " + sensor + ", states: {true: good, false: lost}", row(12, 9, 0, 0, 1, 0), "", collector.OutOfRange, ""},
		{"quantity: optical_receive_state, " + sensor + ", states: {true: good, false: lost}", row(8, 9, 0, 1, 1, 0), "", collector.OutOfRange, "a temperature"},
	} {
		p := point(t, tt.point)
		got := p.Decode(tt.raw, 0)
		require.Equal(t, tt.quality, got.Quality, "%s %v %s", tt.point, tt.raw, got.Note)
		if tt.state != "" {
			require.Equal(t, tt.state, p.Point.Quantity.StateName(got.Value), "%s %v %s", tt.point, tt.raw, tt.source)
		}
	}
}

// TestEntitySensor: RFC 3433; real value = value x 10^(3(scale-9)) x
// 10^-precision for a positive precision.
func TestEntitySensor(t *testing.T) {
	for _, tt := range []struct {
		point  string
		raw    []model.Value
		want   float64
		within float64
	}{
		{celsius, row(8, 9, 1, 253, 1, 0), 25.3, 0},            // same form as the RFC's own example
		{receive, row(6, 7, 1, 8413, 1, 0), -0.7505, 1e-4},     // 841.3 µW
		{volts, row(4, 8, 0, 11980, 1, 0), 11.98, 0},           // 11980 mV DC
		{volts, row(3, 9, 0, 230, 1, 0), 230, 0},               // V AC
		{receive, row(6, 6, 0, 50, 1, 0), -43.0103, 1e-4},      // 50 nW
		{volts, row(4, 9, -3, 123, 1, 0), 123, 0},              // three digits accurate, no shift
		{bias, row(5, 8, 1, 340, 1, 0), 34, 0},                 // mA
		{bias, row(5, 7, 0, 34000, 1, 0), 34, 0},               // µA
		{level, row(1, 9, 1, -355, 1, 0), -35.5, 0},            // no type for dBm: other
		{celsius, row(8, 9, 9, -253000000, 1, 0), -0.253, 0},   // highest precision
		{volts, row(4, 9, -8, 12, 1, 0), 12, 0},                // lowest
		{volts, row(4, 1, 0, 999999999, 1, 0), 999e-18, 1e-17}, // yocto
	} {
		got := point(t, tt.point+sensor).Decode(tt.raw, 0)
		require.Equal(t, collector.Good, got.Quality, "%s %v: %s", tt.point, tt.raw, got.Note)
		require.InDelta(t, tt.want, got.Value, tt.within, "%s %v", tt.point, tt.raw)
	}
	for _, tt := range []struct {
		point string
		raw   []model.Value
		want  collector.Quality
		note  string
	}{
		{volts, row(4, 9, 0, 1000000000, 1, 0), collector.OutOfRange, "the sensor is above its range"},
		{volts, row(4, 9, 0, 2147483647, 1, 0), collector.OutOfRange, "the sensor is above its range"},
		{volts, row(4, 9, 0, -1000000000, 1, 0), collector.OutOfRange, "the sensor is below its range"},
		{volts, row(4, 9, 0, 5, 2, 0), collector.Unavailable, "the unit cannot get the value now"},
		{volts, row(4, 9, 0, 5, 3, 0), collector.Broken, "the unit says that its sensor is broken"},
		{volts, row(4, 9, 0, 5, 0, 0), collector.OutOfRange, "sensor status 0"},
		{volts, row(8, 9, 0, 5, 1, 0), collector.OutOfRange, "sensor type 8 does not fit supply voltage"},
		{level, row(7, 11, 2, 157542, 1, 0), collector.OutOfRange, "sensor type 7 does not fit RF output level"}, // 1575.42 MHz
		{level, row(6, 9, -3, 1234, 1, 0), collector.OutOfRange, "60.9132 is outside -150 to 40 dBm"},            // 1234 W
		{volts, row(4, 14, 0, 1, 1, 0), collector.OutOfRange, "1e+15 is outside 0 to 500 V"},                     // the code counts, not its swapped name
		{volts, row(4, 15, 0, 1, 1, 0), collector.OutOfRange, "1e+18 is outside 0 to 500 V"},
		{volts, row(4, 17, 0, 1, 1, 0), collector.OutOfRange, "1e+24 is outside 0 to 500 V"},
		{volts, row(4, 0, 0, 5, 1, 0), collector.OutOfRange, "scale or precision is not one of RFC 3433"},
		{volts, row(4, 18, 0, 5, 1, 0), collector.OutOfRange, "scale or precision is not one of RFC 3433"},
		{volts, row(4, 9, 10, 5, 1, 0), collector.OutOfRange, "scale or precision is not one of RFC 3433"},
		{volts, row(4, 9, -9, 5, 1, 0), collector.OutOfRange, "scale or precision is not one of RFC 3433"},
	} {
		require.Equal(t, model.Decoded{Quality: tt.want, Note: tt.note}, point(t, tt.point+sensor).Decode(tt.raw, 0), "%v", tt.raw)
	}
	for i := 1; i < 5; i++ {
		raw := row(4, 9, 0, 5, 1, 0)
		raw[i] = model.Value{}
		require.Equal(t, collector.Unavailable, point(t, volts+sensor).Decode(raw, 0).Quality)
	}
	require.Equal(t, []string{"1.3.6.1.2.1.99.1.1.1.4.7", "1.3.6.1.2.1.99.1.1.1.1.7", "1.3.6.1.2.1.99.1.1.1.2.7", "1.3.6.1.2.1.99.1.1.1.3.7", "1.3.6.1.2.1.99.1.1.1.5.7", "1.3.6.1.2.1.99.1.1.1.7.7"},
		point(t, volts+sensor).Objects())
}

// TestSFF8472: the temperature table is AN-2030's (2002), the others follow
// from the units of SFF-8472: 100 µV, 2 µA, 0.1 µW.
func TestSFF8472(t *testing.T) {
	for _, tt := range []struct {
		quantity string
		at       int
		raw      string
		want     float64
		within   float64
	}{
		{"temperature", 96, "7d00", 125, 0},
		{"temperature", 96, "1900", 25, 0},
		{"temperature", 96, "0101", 1.004, 1e-3},
		{"temperature", 96, "0001", 0.004, 1e-3},
		{"temperature", 96, "ffff", -0.0039, 1e-4},
		{"temperature", 96, "ff00", -1, 0},
		{"temperature", 96, "e700", -25, 0},
		{"temperature", 96, "d800", -40, 0},
		{"supply_voltage", 98, "8120", 3.3056, 1e-9},
		{"laser_bias", 100, "3a98", 30, 1e-9},
		{"optical_transmit_power", 102, "2710", 0, 1e-9},
		{"optical_transmit_power", 102, "1388", -3.010, 1e-3},
		{"optical_receive_power", 104, "03e8", -10, 1e-9},
		{"optical_receive_power", 104, "0001", -40, 1e-9},
		{"optical_receive_power", 104, "ffff", 8.165, 1e-3},
	} {
		p := point(t, fmt.Sprintf("quantity: %s, %sencoding: sff8472, first_byte: %d", tt.quantity, one, tt.at))
		want := tt.want
		if tt.quantity == "temperature" && tt.raw == "7d00" {
			require.Equal(t, collector.OutOfRange, p.Decode(octets(t, tt.raw), 0).Quality, "125 °C is not plausible")
			continue
		}
		got := p.Decode(octets(t, tt.raw), 0)
		require.Equal(t, collector.Good, got.Quality, "%s %s %s", tt.quantity, tt.raw, got.Note)
		require.InDelta(t, want, got.Value, tt.within, "%s %s", tt.quantity, tt.raw)
	}
	low := point(t, celsius+one+"encoding: sff8472, first_byte: 96")
	require.Equal(t, "-127.996 is outside -60 to 120 °C", low.Decode(octets(t, "8001"), 0).Note, "AN-2030: 8001 is -127.996")

	// One step of 0.1 µW at -30 dBm is 0.41 dB.
	p := point(t, receive+one+"encoding: sff8472, first_byte: 104")
	require.InDelta(t, 0.4139, p.Decode(octets(t, "000b"), 0).Value-p.Decode(octets(t, "000a"), 0).Value, 1e-4)
}

// TestSFF8472External: constants as in AN-2030, worked by hand.
func TestSFF8472External(t *testing.T) {
	page := make([]byte, 128)
	put := func(at int, s string) {
		copy(page[at:], octets(t, s)[0].Bytes)
	}
	put(68, "3f000000")  // R1 = 0.5
	put(72, "41480000")  // R0 = 12.5
	put(104, "07d0")     // 2000: 0.5 x 2000 + 12.5 = 1012.5 steps = 101.25 µW
	put(76, "0180 000a") // bias slope 1.5, offset 10
	put(100, "1388")     // 5000: 7510 steps = 15.02 mA
	put(84, "0110 ff00") // temperature slope 1.0625, offset -256
	put(96, "1900")      // 6400: 6544 / 256 = 25.5625 °C
	put(88, "0100 0000") // supply slope 1
	put(98, "8120")
	raw := []model.Value{{Kind: model.Bytes, Bytes: page}}
	for _, tt := range []struct {
		point string
		want  float64
	}{
		{receive, -9.946}, {bias, 15.02}, {celsius, 25.5625}, {volts, 3.3056},
	} {
		p := point(t, tt.point+one+"encoding: sff8472, calibration: external")
		got := p.Decode(raw, 0)
		require.Equal(t, collector.Good, got.Quality)
		require.InDelta(t, tt.want, got.Value, 1e-3, tt.point)
		require.Equal(t, model.Decoded{Quality: collector.Unavailable, Note: "the answer is incomplete"}, p.Decode([]model.Value{{Kind: model.Bytes, Bytes: page[:90]}}, 0))
	}
	state := point(t, "quantity: optical_receive_state, "+one+"encoding: sff8472")
	laser := point(t, "quantity: laser_state, "+one+"encoding: sff8472")
	for _, tt := range []struct {
		status         byte
		receive, laser string
	}{{0x00, "good", "on"}, {0x02, "lost", "on"}, {0x04, "good", "failed"}, {0x80, "good", "off"}, {0x86, "lost", "failed"}} {
		page[110] = tt.status
		require.Equal(t, tt.receive, collector.OpticalReceiveState.StateName(state.Decode(raw, 0).Value))
		require.Equal(t, tt.laser, collector.LaserState.StateName(laser.Decode(raw, 0).Value))
	}
	page[110] = 0x01 // data not ready
	require.Equal(t, collector.Unavailable, state.Decode(raw, 0).Quality)
	require.Equal(t, collector.Unavailable, point(t, receive+one+"encoding: sff8472").Decode(raw, 0).Quality)
	require.Equal(t, collector.OutOfRange, state.Decode(number(1), 0).Quality)
}

// TestAge: RFC 3433: age = sysUpTime - time stamp, modulo 2^32 hundredths.
func TestAge(t *testing.T) {
	stamped := receive + one + "scale: 0.01, timestamp: 1.3.6.1.4.1.32473.9.2.0, max_age: 10s"
	for _, tt := range []struct {
		up, stamp uint32
		age       time.Duration
		quality   collector.Quality
	}{
		{500, 500, 0, collector.Good},
		{500, 4294967000, 7960 * time.Millisecond, collector.Good},
		{1500, 500, 10 * time.Second, collector.Good},
		{1501, 500, 10*time.Second + 10*time.Millisecond, collector.Unavailable},
		{500, 510, 0, collector.Good}, // taken while the answer was being made
		{3, 4294967295, 40 * time.Millisecond, collector.Good},
	} {
		for _, p := range []struct {
			model.Point
			raw []model.Value
		}{
			{point(t, stamped), append(number(-712), model.Value{Kind: model.Unsigned, Uint: uint64(tt.stamp)})},
			{point(t, receive+sensor+", max_age: 10s"), row(1, 9, 2, -712, 1, tt.stamp)},
		} {
			got := p.Decode(p.raw, tt.up)
			require.Equal(t, tt.age, got.Age)
			require.Equal(t, tt.quality, got.Quality, "%d %d", tt.up, tt.stamp)
			if tt.quality == collector.Good {
				require.Equal(t, -7.12, got.Value)
			} else {
				require.Equal(t, "the value is older than 10s", got.Note)
			}
		}
	}
	p := point(t, stamped)
	require.Equal(t, []string{"1.3.6.1.4.1.32473.9.1.0", "1.3.6.1.4.1.32473.9.2.0"}, p.Objects())
	require.Equal(t, model.Decoded{Quality: collector.Unavailable, Note: "the age of the value is unknown"}, p.Decode(append(number(-712), model.Value{}), 0))

	// Without max_age an agent that leaves the stamp out is believed.
	raw := row(1, 9, 2, -712, 1, 0)
	raw[5] = model.Value{}
	require.Equal(t, model.Decoded{Value: -7.12}, point(t, receive+sensor).Decode(raw, 900000))

	// A stale value is made by encoding at an earlier time.
	require.Equal(t, collector.Good, p.Decode(p.Encode(-3, collector.Good, 100), 1100).Quality)
	require.Equal(t, collector.Unavailable, p.Decode(p.Encode(-3, collector.Good, 100), 1101).Quality)
}
