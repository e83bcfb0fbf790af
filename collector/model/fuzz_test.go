package model_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/model"
)

// FuzzParse: whatever stands in a model file, it gives faults or a model
// whose points decode and encode without a panic.
func FuzzParse(f *testing.F) {
	names, err := filepath.Glob("models/*.yaml")
	require.NoError(f, err)
	require.NotEmpty(f, names)
	for _, name := range append(names, "testdata/faults.yaml") {
		data, err := os.ReadFile(name)
		require.NoError(f, err)
		f.Add(string(data))
	}
	f.Fuzz(func(t *testing.T, text string) {
		m, err := model.Parse("fuzz.yaml", []byte(text))
		if err != nil {
			require.Nil(t, m)
			return
		}
		for _, p := range m.Points {
			require.NotEmpty(t, p.Objects())
			for _, v := range []float64{0, -7, 1, math.NaN(), math.Inf(1), math.Inf(-1)} {
				values := p.Encode(v, collector.Good, 5)
				require.Len(t, values, len(p.Objects()))
				holds(t, p, p.Decode(values, 5))
			}
		}
	})
}

// holds checks what every Decoded must fulfil.
func holds(t *testing.T, p model.Point, d model.Decoded) {
	t.Helper()
	q, _ := p.Point.Quantity.Info()
	if d.Quality != collector.Good {
		require.Zero(t, d.Value)
		require.NotEmpty(t, d.Note)
		return
	}
	require.False(t, d.Value < q.Min || d.Value > q.Max || math.IsNaN(d.Value), "%s %g", p.Point, d.Value)
	if q.States != nil {
		require.NotEmpty(t, p.Point.Quantity.StateName(d.Value))
	}
	require.GreaterOrEqual(t, int64(d.Age), int64(0))
}

// FuzzDecode gives arbitrary values to every point of every embedded model:
// a good reading is plausible and survives being encoded again.
func FuzzDecode(f *testing.F) {
	f.Add(uint8(2), int64(-712), []byte("-3.2 dBm"), uint32(5))
	f.Add(uint8(5), int64(0), []byte{0x9f, 0x78, 4, 0x40, 0x9e, 0xb8, 0x52}, uint32(0))
	f.Add(uint8(5), int64(1), []byte(strings.Repeat("\x27\x10", 64)), uint32(1<<31))
	f.Add(uint8(3), int64(math.MinInt64), []byte{}, uint32(math.MaxUint32))
	f.Fuzz(func(t *testing.T, kind uint8, x int64, b []byte, up uint32) {
		value := func(i int) model.Value {
			k := model.Kind((int(kind) + i*int(kind>>4)) % 7)
			v := model.Value{Kind: k, Int: x, Uint: uint64(x), Float: math.Float64frombits(uint64(x)), Bytes: b, OID: "1.3.6"}
			if k == model.Integer && len(b) >= 8*(i+1) {
				v.Int = int64(binary.BigEndian.Uint64(b[8*i:])) >> (kind % 64)
			}
			return v
		}
		eachPoint(t, func(m *model.Model, p model.Point, q collector.QuantityInfo) {
			values := make([]model.Value, len(p.Objects()))
			for i := range values {
				values[i] = value(i)
			}
			d := p.Decode(values, up)
			holds(t, p, d)
			if d.Quality != collector.Good {
				return
			}
			again := p.Decode(p.Encode(d.Value, collector.Good, up), up)
			name := fmt.Sprintf("%s %s %v", m.Name, p.Point, values)
			require.Equal(t, collector.Good, again.Quality, name)
			if d.Value-step(q, d.Value) > q.Min && d.Value < 10000 { // below it quantisation can reach the dark; above it a float has no more digits
				require.InDelta(t, d.Value, again.Value, step(q, d.Value)+1e-9, name)
			}
		})
	})
}
