package model_test

import (
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/model"
)

// eachModel calls f with every embedded model.
func eachModel(t testing.TB, f func(m *model.Model)) {
	t.Helper()
	s, err := model.Builtin()
	require.NoError(t, err)
	require.NotEmpty(t, s.Names())
	for _, name := range s.Names() {
		m, ok := s.Model(name)
		require.True(t, ok)
		f(m)
	}
}

// eachPoint calls f with every point of every embedded model.
func eachPoint(t testing.TB, f func(m *model.Model, p model.Point, q collector.QuantityInfo)) {
	t.Helper()
	eachModel(t, func(m *model.Model) {
		for _, p := range m.Points {
			q, ok := p.Point.Quantity.Info()
			require.True(t, ok)
			f(m, p, q)
		}
	})
}

// plausible lists values that a healthy or hurt unit can show.
func plausible(q collector.QuantityInfo) []float64 {
	if q.States != nil {
		var all []float64
		for i := range q.States {
			all = append(all, float64(i))
		}
		return all
	}
	switch q.Quantity {
	case collector.OpticalReceivePower, collector.OpticalTransmitPower:
		return []float64{-30, -12, -6.37, -0.1, 0, 3.3}
	case collector.LaserBias:
		return []float64{0, 8.24, 34, 120}
	case collector.Temperature:
		return []float64{-40, -0.2, 0, 25.3, 71}
	case collector.SupplyVoltage:
		return []float64{0, 3.3, 5, 6}
	case collector.Uptime:
		return []float64{0, 1, 86400, 4e7}
	case collector.LNACurrent:
		return []float64{0, 4.5, 150, 350}
	case collector.RFNoiseFloor:
		return []float64{-165, -140.3}
	case collector.AGCAttenuation:
		return []float64{0, 12.5, 31}
	default:
		return []float64{-80, -35.5, 0, 10}
	}
}

// step is the coarsest resolution that an embedded model has for a quantity;
// of optical power, 0.1 µW at the given level.
func step(q collector.QuantityInfo, value float64) float64 {
	switch q.Unit {
	case "dBm":
		if q.Quantity == collector.OpticalReceivePower || q.Quantity == collector.OpticalTransmitPower {
			return max(0.01, 10*math.Log10(1+1e-3/math.Pow(10, value/10)))
		}
		return 0.1
	case "dB":
		return 0.5
	case "s":
		return 1
	case "V", "mA":
		return 0.1
	}
	return 0.1
}

func TestEncodeThenDecode(t *testing.T) {
	const up = 4294960000 // wraps soon
	eachPoint(t, func(m *model.Model, p model.Point, q collector.QuantityInfo) {
		for _, want := range plausible(q) {
			name := fmt.Sprintf("%s %s %g", m.Name, p.Point, want)
			values := p.Encode(want, collector.Good, up)
			require.Len(t, values, len(p.Objects()), name)
			if values[0].Kind == model.Missing {
				require.NotNil(t, q.States, name) // the equipment has no such state
				continue
			}
			got := p.Decode(values, up+100)
			require.Equal(t, collector.Good, got.Quality, "%s: %v %s", name, values, got.Note)
			require.InDelta(t, want, got.Value, step(q, want)/2+1e-9, "%s: %v", name, values)
			again := p.Decode(p.Encode(got.Value, collector.Good, up), up)
			require.InDelta(t, got.Value, again.Value, 1e-9, "%s: not stable", name)
		}
	})
}

func TestEncodeQuality(t *testing.T) {
	eachPoint(t, func(m *model.Model, p model.Point, q collector.QuantityInfo) {
		for _, quality := range []collector.Quality{collector.Unavailable, collector.Broken} {
			values := p.Encode(0, quality, 1000)
			require.Len(t, values, len(p.Objects()), "%s %s", m.Name, p.Point)
			got := p.Decode(values, 1000)
			if got.Quality != quality { // not every encoding can say that a sensor is broken
				require.Equal(t, model.Missing, values[0].Kind, "%s %s %s", m.Name, p.Point, quality)
				require.Equal(t, collector.Unavailable, got.Quality)
			}
			require.Zero(t, got.Value)
		}
	})
}

func TestDark(t *testing.T) {
	eachPoint(t, func(m *model.Model, p model.Point, q collector.QuantityInfo) {
		if p.Point.Quantity != collector.OpticalReceivePower {
			return
		}
		for _, level := range []float64{-45, -60, math.Inf(-1)} {
			got := p.Decode(p.Encode(level, collector.Good, 7), 7)
			require.Equal(t, model.Decoded{Value: -45, Note: model.NoLight}, got, m.Name)
		}
	})
}
