package engine

import (
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/snmp/ber"
)

// secured is the beginning of a message of version 3 (RFC 3412 section 6).
func secured(id int32) []byte {
	head := append(ber.AppendInt32(nil, id), 2, 3, 0, 0xff, 0xe3, 4, 1, 4, 2, 1, 3)
	return ber.Append(nil, ber.Sequence, []byte{2, 1, 3}, ber.Append(nil, ber.Sequence, head), []byte{4, 0, 0x30, 0})
}

func plain(version byte, id int32) []byte {
	pdu := ber.Append(nil, ber.Response, append(ber.AppendInt32(nil, id), 2, 1, 0, 2, 1, 0, 0x30, 0))
	return ber.Append(nil, ber.Sequence, []byte{2, 1, version, 4, 6, 'p', 'u', 'b', 'l', 'i', 'c'}, pdu)
}

func TestIDIsFound(t *testing.T) {
	for _, id := range []int32{0, 1, -1, 77, 1<<30 | 5, -1 << 31} {
		for _, b := range [][]byte{plain(0, id), plain(1, id), secured(id)} {
			got, ok := idOf(b)
			require.True(t, ok)
			require.Equal(t, id, got)
		}
	}
	for name, b := range map[string][]byte{"nothing": nil, "version 2": plain(2, 5), "cut short": plain(1, 5)[:12], "no sequence": plain(1, 5)[1:]} {
		_, ok := idOf(b)
		require.False(t, ok, name)
	}
}

// FuzzIDOf compares with a reader that knows every form of a length: what is
// found here is found there.
func FuzzIDOf(f *testing.F) {
	f.Add(plain(1, 1<<30|5))
	f.Add(secured(1<<30 | 5))
	f.Add([]byte{0x30, 0x82, 0xff, 0xff, 2, 1, 3})
	f.Fuzz(func(t *testing.T, b []byte) {
		id, ok := idOf(b)
		if !ok {
			return
		}
		r := ber.NewReader(b).Into(ber.Sequence)
		if r.Int32() == 3 {
			r = r.Into(ber.Sequence)
		} else {
			r.Any()
			_, content := r.Any()
			r = ber.NewReader(content)
		}
		require.Equal(t, id, r.Int32())
		require.NoError(t, r.Err())
	})
}
