package ber_test

import (
	"bytes"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/snmp/ber"
)

// Shortest forms by X.690 8.3.2.
func TestInt32(t *testing.T) {
	tests := map[int32][]byte{0: {2, 1, 0}, 1: {2, 1, 1}, -1: {2, 1, 0xff}, 127: {2, 1, 0x7f}, 128: {2, 2, 0, 0x80}, -128: {2, 1, 0x80},
		-129: {2, 2, 0xff, 0x7f}, 32767: {2, 2, 0x7f, 0xff}, 32768: {2, 3, 0, 0x80, 0}, math.MaxInt32: {2, 4, 0x7f, 0xff, 0xff, 0xff}, math.MinInt32: {2, 4, 0x80, 0, 0, 0}}
	for v, want := range tests {
		got := ber.AppendInt32(nil, v)
		require.Equal(t, want, got, "%d", v)
		r := ber.NewReader(got)
		require.Equal(t, v, r.Int32())
		require.NoError(t, r.End())
	}
}

func TestInt32Refuses(t *testing.T) {
	for name, b := range map[string][]byte{"33 bits": {2, 5, 1, 0, 0, 0, 0}, "2^31": {2, 5, 0, 0x80, 0, 0, 0}, "none": {2, 0},
		"nine octets": {2, 9, 0, 0, 0, 0, 0, 0, 0, 0, 1}, "a string": {4, 1, 1}, "cut short": {2, 2, 1}} {
		r := ber.NewReader(b)
		require.Zero(t, r.Int32(), name)
		require.Error(t, r.Err(), name)
	}
	r := ber.NewReader([]byte{2, 6, 0, 0, 0, 0, 0, 7})
	require.EqualValues(t, 7, r.Int32(), "careless encoders repeat the sign")
	require.NoError(t, r.End())
}

// Forms of length by X.690 8.1.3.
func TestLengths(t *testing.T) {
	for _, size := range []int{0, 1, 127, 128, 255, 256, 65535, 65536} {
		content := bytes.Repeat([]byte{7}, size)
		b := ber.Append([]byte("before"), ber.OctetString, content[:size/2], content[size/2:])
		r := ber.NewReader(b[6:])
		require.Equal(t, content, r.Element(ber.OctetString))
		require.NoError(t, r.End())
		require.True(t, ber.Whole(b[6:]))
	}
	for name, b := range map[string][]byte{"indefinite": {0x30, 0x80, 0, 0}, "five octets": {4, 0x85, 0, 0, 0, 0, 0}, "beyond the end": {4, 2, 0},
		"huge": {4, 0x84, 0xff, 0xff, 0xff, 0xff}, "no length": {4}, "nothing": {}, "half a length": {4, 0x82, 1}} {
		r := ber.NewReader(b)
		tag, content := r.Any()
		require.Error(t, r.Err(), name)
		require.Zero(t, tag, name)
		require.Nil(t, content, name)
	}
}

func TestFirstFaultStays(t *testing.T) {
	r := ber.NewReader([]byte{4, 1, 'x', 2, 1, 5})
	require.Nil(t, r.Into(ber.Sequence).Element(ber.Integer))
	first := r.Err()
	require.Error(t, first)
	require.Zero(t, r.Int32())
	require.Equal(t, first, r.End())
	r = ber.NewReader([]byte{2, 1, 5, 0})
	require.EqualValues(t, 5, r.Int32())
	require.Equal(t, []byte{0}, r.Rest())
	require.ErrorIs(t, r.End(), ber.ErrTrailing)
}

func TestWhole(t *testing.T) {
	for name, tt := range map[string]struct {
		b    []byte
		want bool
	}{
		"one inside":        {[]byte{0x30, 3, 2, 1, 5}, true},
		"nothing inside":    {[]byte{0x30, 0}, true},
		"inner too long":    {[]byte{0x30, 3, 2, 2, 5}, false},
		"inner half":        {[]byte{0x30, 1, 2}, false},
		"two":               {[]byte{5, 0, 5, 0}, false},
		"nothing":           {nil, false},
		"primitive garbage": {[]byte{4, 2, 0x30, 9}, true},
	} {
		require.Equal(t, tt.want, ber.Whole(tt.b), name)
	}
	deep := []byte{5, 0}
	for range 100 {
		deep = ber.Append(nil, ber.Sequence, deep)
	}
	require.False(t, ber.Whole(deep))
}

func FuzzReader(f *testing.F) {
	f.Add([]byte{0x30, 6, 2, 1, 5, 4, 1, 'x'})
	f.Add([]byte{0x30, 0x82, 0, 2, 5, 0})
	f.Fuzz(func(t *testing.T, b []byte) {
		whole := ber.Whole(b)
		r := ber.NewReader(b)
		tag, content := r.Any()
		if whole {
			require.NoError(t, r.End())
			again := ber.Append(nil, tag, content)
			require.True(t, ber.Whole(again))
		}
		r = ber.NewReader(b)
		for r.Err() == nil && len(r.Rest()) > 0 {
			before := len(r.Rest())
			r.Int32()
			require.True(t, r.Err() != nil || len(r.Rest()) < before)
		}
	})
}
