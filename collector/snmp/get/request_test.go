package get_test

import (
	"encoding/hex"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/model"
	"lightwell/collector/snmp/ber"
	"lightwell/collector/snmp/get"
)

const id = 1<<30 | 0x1234

// answer is the response to a GET of 1.3.6.1.4.1.32473.1.0 and .2.0, with the
// header and the two values of the caller's encoding.
func answer(head, one, two []byte) []byte {
	name := func(n byte) []byte {
		return ber.Append(nil, ber.ObjectID, []byte{0x2b, 6, 1, 4, 1, 0x81, 0xfd, 0x59, n, 0})
	}
	return ber.Append(nil, ber.Response, head, ber.Append(nil, ber.Sequence, ber.Append(nil, ber.Sequence, name(1), one), ber.Append(nil, ber.Sequence, name(2), two)))
}

func head() []byte { return append(ber.AppendInt32(nil, id), 2, 1, 0, 2, 1, 0) }

func request(t testing.TB) *get.Request {
	t.Helper()
	r, err := get.New([]string{"1.3.6.1.4.1.32473.1.0", "1.3.6.1.4.1.32473.2.0"})
	require.NoError(t, err)
	return r
}

// The octets were written down by hand from X.690 8 and RFC 3416 section 3.
func TestRequestIsEncoded(t *testing.T) {
	r, err := get.New([]string{"1.3.6.1.2.1.1.3.0", "2.999.4294967295"})
	require.NoError(t, err)
	require.Equal(t, "a029"+"020440001234"+"020100"+"020100"+"301b"+"300c06082b060102010103000500"+"300b0607"+"8837"+"8fffffff7f"+"0500",
		hex.EncodeToString(r.Append(nil, id)))
	require.Equal(t, []string{"1.3.6.1.2.1.1.3.0", "2.999.4294967295"}, r.Objects())
}

func TestRequestWithLongLengths(t *testing.T) {
	var objects []string
	for range 60 {
		objects = append(objects, "1.3.6.1.4.1.32473.1.0")
	}
	for _, n := range []int{1, 5, 6, 12, 13, 60} { // lengths of one, two and three octets
		r, err := get.New(objects[:n])
		require.NoError(t, err)
		b := r.Append([]byte("before"), id)
		require.True(t, ber.Whole(b[6:]))
		require.EqualValues(t, id, ber.NewReader(b[6:]).Into(ber.GetRequest).Int32())
		require.Equal(t, b[6:], r.Append(nil, id), "the template stays as it was")
	}
}

func TestObjectsRefused(t *testing.T) {
	for _, o := range []string{"", "1", ".1.3", "1.3.", "1.x", "1.-3", "3.1", "1.40", "1.3.4294967296"} {
		_, err := get.New([]string{o})
		require.Error(t, err, o)
	}
}

func TestAnswerIsRead(t *testing.T) {
	for name, c := range map[string]struct {
		value []byte
		want  get.Answer
	}{
		"integer":          {[]byte{2, 2, 0xfe, 0xc8}, get.Answer{Value: model.Value{Kind: model.Integer, Int: -312}}},
		"counter":          {[]byte{0x41, 5, 0, 0xff, 0xff, 0xff, 0xff}, get.Answer{Value: model.Value{Kind: model.Unsigned, Uint: 1<<32 - 1}}},
		"time ticks":       {[]byte{0x43, 3, 1, 0xe2, 0x40}, get.Answer{Value: model.Value{Kind: model.Unsigned, Uint: 123456}}},
		"counter of 64":    {[]byte{0x46, 9, 0, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff, 0xff}, get.Answer{Value: model.Value{Kind: model.Unsigned, Uint: 1<<64 - 1}}},
		"octets":           {[]byte{4, 0x81, 2, 'o', 'k'}, get.Answer{Value: model.Value{Kind: model.Bytes, Bytes: []byte("ok")}}},
		"float":            {[]byte{0x44, 7, 0x9f, 0x78, 4, 0x41, 0x20, 0, 0}, get.Answer{Value: model.Value{Kind: model.Float, Float: 10}}},
		"double":           {[]byte{0x44, 11, 0x9f, 0x79, 8, 0x40, 0x24, 0, 0, 0, 0, 0, 0}, get.Answer{Value: model.Value{Kind: model.Float, Float: 10}}},
		"null":             {[]byte{5, 0}, get.Answer{Value: model.Value{Kind: model.Null}, Note: get.IsNull}},
		"no such object":   {[]byte{0x80, 0}, get.Answer{Note: get.NoObject}},
		"no such instance": {[]byte{0x81, 0}, get.Answer{Note: get.NoInstance}},
		"end of view":      {[]byte{0x82, 0}, get.Answer{Note: get.EndOfView}},
	} {
		t.Run(name, func(t *testing.T) {
			into := make([]get.Answer, 5)
			b := answer(head(), c.value, []byte{2, 1, 7})
			require.True(t, request(t).Read(b, id, into, []int{3, 1}))
			clear(b) // nothing may alias what came
			require.Equal(t, c.want, into[3])
			require.Equal(t, get.Answer{Value: model.Value{Kind: model.Integer, Int: 7}}, into[1])
		})
	}
}

func TestSurprisesAreLeftToOthers(t *testing.T) {
	seven := []byte{2, 1, 7}
	good := answer(head(), seven, seven)
	for name, b := range map[string][]byte{
		"nothing":                nil,
		"cut short":              good[:len(good)-1],
		"octets behind":          append(append([]byte{}, good...), 0),
		"a report":               append([]byte{ber.Report}, good[1:]...),
		"another id":             answer(append(ber.AppendInt32(nil, id+1), 2, 1, 0, 2, 1, 0), seven, seven),
		"an id of five octets":   answer([]byte{2, 5, 0, 0x40, 0, 0x12, 0x34, 2, 1, 0, 2, 1, 0}, seven, seven),
		"an error status":        answer(append(ber.AppendInt32(nil, id), 2, 1, 5, 2, 1, 1), seven, seven),
		"integer of 33 bits":     answer(head(), []byte{2, 5, 1, 0, 0, 0, 0}, seven),
		"integer without octets": answer(head(), []byte{2, 0}, seven),
		"counter of 33 bits":     answer(head(), []byte{0x41, 5, 1, 0, 0, 0, 0}, seven),
		"not a number":           answer(head(), []byte{0x44, 7, 0x9f, 0x78, 4, 0x7f, 0xc0, 0, 0}, seven),
		"null with octets":       answer(head(), []byte{5, 1, 0}, seven),
		"an address":             answer(head(), []byte{0x40, 4, 192, 0, 2, 1}, seven),
		"two values":             answer(head(), []byte{2, 1, 7, 2, 1, 7}, seven),
		"no value":               answer(head(), nil, seven),
		"indefinite length":      answer(head(), []byte{4, 0x80}, seven),
	} {
		require.False(t, request(t).Read(b, id, make([]get.Answer, 2), []int{0, 1}), name)
	}
	other, err := get.New([]string{"1.3.6.1.4.1.32473.1.0", "1.3.6.1.4.1.32473.3.0"})
	require.NoError(t, err)
	require.False(t, other.Read(good, id, make([]get.Answer, 2), []int{0, 1}), "another object")
	short, err := get.New([]string{"1.3.6.1.4.1.32473.1.0"})
	require.NoError(t, err)
	require.False(t, short.Read(good, id, make([]get.Answer, 2), []int{0, 1}), "one object more")
}

func BenchmarkRead(b *testing.B) {
	r, answers := request(b), make([]get.Answer, 2)
	in := answer(head(), []byte{2, 2, 0xfe, 0xc8}, []byte{0x43, 3, 1, 0xe2, 0x40})
	b.ReportAllocs()
	for b.Loop() {
		if !r.Read(in, id, answers, []int{0, 1}) {
			b.Fatal("not read")
		}
	}
}
