package model_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/model"
)

// unit24 is a unit of 24 points in the usual encodings.
func unit24(t testing.TB) *model.Model {
	t.Helper()
	var b strings.Builder
	b.WriteString("model: big\nroles: [indoor]\nsupplies: 2\npoints:\n")
	for i, encoding := range []string{
		"quantity: temperature, scale: 0.1", "quantity: optical_receive_power, scale: 0.01, no_light: -4000, broken: -9999", "quantity: optical_transmit_power, unit: uW",
		"quantity: laser_bias, scale: 10, unit: uA", "quantity: laser_state, states: {1: on, 2: off, 3: warming, 4: failed}", "quantity: optical_receive_state, bits: {1: lost}, otherwise: good",
		"quantity: supply_voltage, encoding: float", "quantity: rf_input_level, encoding: text",
	} {
		for port := range 3 {
			fmt.Fprintf(&b, "  - {port: p%d, object: 1.3.6.1.4.1.32473.9.%d.%d, %s}\n", port, i+1, port+1, encoding)
		}
	}
	m, err := model.Parse("big.yaml", []byte(b.String()))
	require.NoError(t, err)
	require.Len(t, m.Points, 24)
	return m
}

func answers(m *model.Model) [][]model.Value {
	all := make([][]model.Value, len(m.Points))
	for i, p := range m.Points {
		q, _ := p.Point.Quantity.Info()
		v := -7.1
		if q.States != nil || q.Min == 0 {
			v = 1
		}
		all[i] = p.Encode(v, collector.Good, 1)
	}
	return all
}

func TestDecodeAllocatesNothing(t *testing.T) {
	m := unit24(t)
	all := answers(m)
	require.Zero(t, testing.AllocsPerRun(100, func() {
		for i := range m.Points {
			if m.Points[i].Decode(all[i], 1).Quality != collector.Good {
				panic(m.Points[i].Point)
			}
		}
	}))
}

func BenchmarkDecodeUnit24(b *testing.B) {
	m := unit24(b)
	all := answers(m)
	b.ReportAllocs()
	for b.Loop() {
		for i := range m.Points {
			m.Points[i].Decode(all[i], 1)
		}
	}
}

func BenchmarkDecodeSensors(b *testing.B) {
	s, err := model.Builtin()
	require.NoError(b, err)
	m, _ := s.Model("rack-entity-sensors")
	all := answers(m)
	b.ReportAllocs()
	for b.Loop() {
		for i := range m.Points {
			m.Points[i].Decode(all[i], 1)
		}
	}
}

func BenchmarkEncodeUnit24(b *testing.B) {
	m := unit24(b)
	b.ReportAllocs()
	for b.Loop() {
		for i := range m.Points {
			m.Points[i].Encode(1, collector.Good, 1)
		}
	}
}
