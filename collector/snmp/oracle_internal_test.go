package snmp

import (
	"testing"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"

	"lightwell/collector/snmp/ber"
	"lightwell/collector/snmp/get"
)

const oracleID = 1<<30 | 77

// FuzzReadLikeGosnmp compares our decoder of ordinary answers with gosnmp's:
// what ours takes, gosnmp's must take for the same values.
func FuzzReadLikeGosnmp(f *testing.F) {
	objects := []string{"1.3.6.1.4.1.32473.1.0", "1.3.6.1.2.1.1.3.0"}
	request, err := get.New(objects)
	require.NoError(f, err)
	one := ber.Append(nil, ber.ObjectID, []byte{0x2b, 6, 1, 4, 1, 0x81, 0xfd, 0x59, 1, 0})
	two := ber.Append(nil, ber.ObjectID, []byte{0x2b, 6, 1, 2, 1, 1, 3, 0})
	for _, v := range [][]byte{{2, 1, 7}, {2, 4, 0x80, 0, 0, 0}, {2, 5, 1, 0, 0, 0, 0}, {0x41, 5, 0, 0xff, 0, 0, 0}, {0x42, 4, 0xff, 0, 0, 0}, {0x46, 8, 0xff, 0, 0, 0, 0, 0, 0, 1},
		{0x47, 4, 0xff, 0, 0, 1}, {4, 2, 'o', 'k'}, {4, 0x81, 2, 'o', 'k'}, {4, 0x82, 0, 2, 'o', 'k'}, {4, 0}, {6, 3, 0x2b, 6, 1}, {0x40, 4, 192, 0, 2, 1}, {5, 0}, {0x80, 0}, {0x81, 0},
		{0x82, 0}, {0x44, 7, 0x9f, 0x78, 4, 0x41, 0x20, 0, 0}, {0x44, 11, 0x9f, 0x79, 8, 0x40, 0x24, 0, 0, 0, 0, 0, 0}, {0x44, 3, 1, 2, 3}} {
		list := ber.Append(nil, ber.Sequence, ber.Append(nil, ber.Sequence, one, v), ber.Append(nil, ber.Sequence, two, []byte{0x43, 3, 1, 0xe2, 0x40}))
		f.Add(ber.Append(nil, ber.Response, ber.AppendInt32(nil, oracleID), []byte{2, 1, 0, 2, 1, 0}, list))
	}
	f.Add(ber.Append(nil, ber.Response, ber.AppendInt32(nil, oracleID), []byte{2, 1, 2, 2, 1, 1, 0x30, 0}))
	f.Fuzz(func(t *testing.T, b []byte) {
		ours := make([]get.Answer, len(objects))
		if !request.Read(b, oracleID, ours, []int{0, 1}) {
			return
		}
		r, err := readResponse(b, oracleID, objects)
		require.NoError(t, err)
		require.EqualValues(t, noError, r.status)
		for i, f := range r.fields {
			if f.Type == gosnmp.Uinteger32 {
				continue // unsigned by RFC 1442; gosnmp takes its top bit for a sign
			}
			v, note := value(f)
			require.Equal(t, get.Answer{Value: v, Note: note}, ours[i])
		}
	})
}
