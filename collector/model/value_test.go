package model_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/model"
)

func TestValueString(t *testing.T) {
	for _, tt := range []struct {
		value model.Value
		want  string
	}{
		{model.Value{}, "missing"},
		{model.Value{Kind: model.Null}, "null"},
		{model.Value{Kind: model.Integer, Int: -4000}, "-4000"},
		{model.Value{Kind: model.Unsigned, Uint: 1<<64 - 1}, "18446744073709551615"},
		{model.Value{Kind: model.Float, Float: -3.25}, "-3.25"},
		{model.Value{Kind: model.Bytes, Bytes: []byte("-3.2 dBm, 25 °C")}, `"-3.2 dBm, 25 °C"`},
		{model.Value{Kind: model.Bytes, Bytes: []byte{0x80, 0}}, "0x8000"},
		{model.Value{Kind: model.Bytes, Bytes: []byte("a\n")}, "0x610a"},
		{model.Value{Kind: model.Bytes}, `""`},
		{model.Value{Kind: model.Object, OID: "1.3.6"}, "1.3.6"},
		{model.Value{Kind: 99}, "missing"},
	} {
		require.Equal(t, tt.want, tt.value.String())
	}
}

// TestMerge: points that share a page or a bit string keep their values.
func TestMerge(t *testing.T) {
	eachModel(t, func(m *model.Model) {
		const up = 1000
		objects := map[string]model.Value{}
		want := map[collector.Point]float64{}
		for _, p := range m.Points {
			q, _ := p.Point.Quantity.Info()
			want[p.Point] = 1
			if q.Unit == "dBm" || q.Unit == "dBm/Hz" {
				want[p.Point] = -70
			}
			if p.Point.Quantity == collector.OpticalReceivePower || p.Point.Quantity == collector.OpticalTransmitPower {
				want[p.Point] = -7
			}
			if p.Point.Quantity == collector.LaserState {
				want[p.Point], _ = collector.LaserState.StateValue(collector.StateFailed)
			}
			for i, v := range p.Encode(want[p.Point], collector.Good, up) {
				objects[p.Objects()[i]] = model.Merge(objects[p.Objects()[i]], v)
			}
		}
		for _, p := range m.Points {
			var values []model.Value
			for _, oid := range p.Objects() {
				values = append(values, objects[oid])
			}
			got := p.Decode(values, up)
			require.Equal(t, collector.Good, got.Quality, "%s %s %s", m.Name, p.Point, got.Note)
			require.InDelta(t, want[p.Point], got.Value, 0.02, "%s %s", m.Name, p.Point)
		}
	})
	some, none := model.Value{Kind: model.Integer, Int: 4}, model.Value{}
	require.Equal(t, some, model.Merge(some, none))
	require.Equal(t, some, model.Merge(none, some))
	require.Equal(t, []byte{0x83, 4}, model.Merge(text("\x81\x04")[0], text("\x02")[0]).Bytes)
}
