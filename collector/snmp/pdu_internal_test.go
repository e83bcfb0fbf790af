package snmp

import (
	"math"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"

	"lightwell/collector/model"
	"lightwell/collector/snmp/ber"
)

// encoded is a response to a GET of 1.3.6.1.4.1.32473.1.0 with request id 77.
func encoded(value ...byte) []byte {
	oid := ber.Append(nil, ber.ObjectID, []byte{0x2b, 6, 1, 4, 1, 0x81, 0xfd, 0x59, 1, 0})
	return ber.Append(nil, ber.Response, []byte{2, 1, 77, 2, 1, 0, 2, 1, 0}, ber.Append(nil, ber.Sequence, ber.Append(nil, ber.Sequence, oid, value)))
}

func asked() []string { return []string{"1.3.6.1.4.1.32473.1.0"} }

// Types by RFC 2578 7.1; Opaque floats by the net-snmp convention (common
// practice).
func TestValues(t *testing.T) {
	tests := []struct {
		name string
		in   []byte
		want model.Value
		note string
	}{
		{"integer", []byte{2, 2, 0xfe, 0xc8}, model.Value{Kind: model.Integer, Int: -312}, ""},
		{"smallest integer", []byte{2, 4, 0x80, 0, 0, 0}, model.Value{Kind: model.Integer, Int: math.MinInt32}, ""},
		{"integer of 33 bits", []byte{2, 5, 1, 0, 0, 0, 0}, model.Value{}, "beyond 32 bits"},
		{"largest counter", []byte{0x41, 5, 0, 0xff, 0xff, 0xff, 0xff}, model.Value{Kind: model.Unsigned, Uint: math.MaxUint32}, ""},
		{"counter of 48 bits", []byte{0x41, 6, 1, 2, 3, 4, 5, 6}, model.Value{}, "beyond 32 bits"},
		{"gauge of 33 bits", []byte{0x42, 5, 1, 0, 0, 0, 0}, model.Value{}, "beyond 32 bits"},
		{"gauge without octets", []byte{0x42, 0}, model.Value{}, "no octets"},
		{"unsigned of RFC 1442", []byte{0x47, 5, 0, 0xff, 0xff, 0xff, 0xff}, model.Value{Kind: model.Unsigned, Uint: math.MaxUint32}, ""},
		{"counter with needless zeros", []byte{0x41, 6, 0, 0, 0, 0, 1, 2}, model.Value{Kind: model.Unsigned, Uint: 258}, ""},
		{"time ticks", []byte{0x43, 3, 1, 0xe2, 0x40}, model.Value{Kind: model.Unsigned, Uint: 123456}, ""},
		{"time ticks of 33 bits", []byte{0x43, 5, 1, 0, 0, 0, 0}, model.Value{}, "beyond 32 bits"},
		{"counter of 64 bits", []byte{0x46, 9, 0, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, model.Value{Kind: model.Unsigned, Uint: math.MaxUint64}, ""},
		{"counter of 72 bits", []byte{0x46, 9, 1, 0, 0, 0, 0, 0, 0, 0, 0}, model.Value{}, "beyond 64 bits"},
		{"octets", []byte{4, 3, 'a', 0, 'b'}, model.Value{Kind: model.Bytes, Bytes: []byte("a\x00b")}, ""},
		{"no octets", []byte{4, 0}, model.Value{Kind: model.Bytes, Bytes: []byte{}}, ""},
		{"address", []byte{0x40, 4, 192, 0, 2, 1}, model.Value{Kind: model.Bytes, Bytes: []byte{192, 0, 2, 1}}, ""},
		{"empty address", []byte{0x40, 0}, model.Value{}, "type"},
		{"object", []byte{6, 3, 0x2b, 6, 1}, model.Value{Kind: model.Object, OID: "1.3.6.1"}, ""},
		{"float", []byte{0x44, 7, 0x9f, 0x78, 4, 0x41, 0x20, 0, 0}, model.Value{Kind: model.Float, Float: 10}, ""},
		{"double", []byte{0x44, 11, 0x9f, 0x79, 8, 0x40, 0x24, 0, 0, 0, 0, 0, 0}, model.Value{Kind: model.Float, Float: 10}, ""},
		{"not a number", []byte{0x44, 7, 0x9f, 0x78, 4, 0x7f, 0xc0, 0, 0}, model.Value{}, "NaN"},
		{"infinite", []byte{0x44, 7, 0x9f, 0x78, 4, 0xff, 0x80, 0, 0}, model.Value{}, "-Inf"},
		{"other opaque", []byte{0x44, 3, 1, 2, 3}, model.Value{Kind: model.Bytes, Bytes: []byte{1, 2, 3}}, ""},
		{"null", []byte{5, 0}, model.Value{Kind: model.Null}, "null"},
		{"no such object", []byte{0x80, 0}, model.Value{}, "no such object"},
		{"no such instance", []byte{0x81, 0}, model.Value{}, "no such instance"},
		{"end of view", []byte{0x82, 0}, model.Value{}, "end of view"},
		{"type not known", []byte{0x4f, 1, 7}, model.Value{}, "type"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := encoded(tt.in...)
			r, err := readResponse(b, 77, asked())
			require.NoError(t, err)
			v, note := value(r.fields[0])
			clear(b) // the value must not alias what came
			require.Equal(t, tt.want, v)
			if tt.note == "" {
				require.Empty(t, note)
			}
			require.Contains(t, note, tt.note)
		})
	}
}

func FuzzReadResponse(f *testing.F) {
	for _, v := range [][]byte{{2, 1, 7}, {4, 2, 'o', 'k'}, {0x44, 7, 0x9f, 0x78, 4, 0x41, 0x20, 0, 0}, {0x46, 1, 9}, {0x40, 4, 192, 0, 2, 1}, {0x80, 0}, {0x44, 3, 0x9f, 0x78, 0}, {6, 0}, {0x47, 1, 5}} {
		f.Add(encoded(v...))
	}
	f.Add([]byte{0xa2, 11, 2, 1, 77, 2, 1, 2, 2, 1, 1, 0x30, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := readResponse(b, 77, asked())
		if err != nil {
			require.Empty(t, r.fields)
			return
		}
		if r.status != noError {
			require.True(t, r.index >= 0 && r.index <= 1)
			return
		}
		require.Len(t, r.fields, 1)
		v, note := value(r.fields[0])
		switch v.Kind {
		case model.Missing:
			require.NotEmpty(t, note)
		case model.Integer:
			require.Equal(t, int64(int32(v.Int)), v.Int)
		case model.Float:
			require.False(t, math.IsNaN(v.Float) || math.IsInf(v.Float, 0))
		}
		if r.fields[0].Type != gosnmp.Counter64 && v.Kind == model.Unsigned {
			require.LessOrEqual(t, v.Uint, uint64(math.MaxUint32))
		}
	})
}

func FuzzDialects(f *testing.F) {
	c := &credentials{version: Version2c, community: []byte("public-test")}
	f.Add(c.seal(nil, nil, 0, encoded(2, 1, 7), time.Time{}))
	f.Add([]byte{0x30, 5, 2, 1, 3, 0x30, 0}) // makes a trap decoder of gosnmp panic
	f.Fuzz(func(t *testing.T, b []byte) {
		if pdu, err := c.open(b); err == nil {
			_, _ = readResponse(pdu, 77, asked())
		}
		_, _ = messageID(b)
		_, _ = reportReason(b)
		if answer, err := readTrap(b); err == nil && answer != nil {
			require.Len(t, answer, len(b))
		}
	})
}
