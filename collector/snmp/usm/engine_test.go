package usm_test

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/snmp/ber"
	"lightwell/collector/snmp/usm"
)

var at = time.Date(2026, 3, 1, 12, 0, 0, 0, time.UTC)

var pdu = ber.Append(nil, ber.Response, []byte{2, 1, 7, 2, 1, 0, 2, 1, 0, 0x30, 0})

func user(t testing.TB) *usm.User {
	t.Helper()
	u, err := usm.NewUser(usm.Account{User: "reader", Auth: "sha256", AuthPassword: collector.NewSecret("maplesyrup"),
		Privacy: "aes128", PrivacyPassword: collector.NewSecret("maplesyrup")})
	require.NoError(t, err)
	return u
}

// discovery is a unit's answer to a discovery request with message id 1.
func discovery(engine []byte, boots, seconds int32) []byte {
	report := ber.Append(nil, ber.Report, []byte{2, 1, 0, 2, 1, 0, 2, 1, 0, 0x30, 0})
	head := append(ber.AppendInt32(nil, 1), 2, 3, 0, 0xff, 0xe3, 4, 1, 0, 2, 1, 3)
	s := ber.AppendInt32(ber.AppendInt32(ber.Append(nil, ber.OctetString, engine), boots), seconds)
	s = append(s, 4, 0, 4, 0, 4, 0)
	scoped := append(append(ber.Append(nil, ber.OctetString, engine), 4, 0), report...)
	return ber.Append(nil, ber.Sequence, []byte{2, 1, 3}, ber.Append(nil, ber.Sequence, head),
		ber.Append(nil, ber.OctetString, ber.Append(nil, ber.Sequence, s)), ber.Append(nil, ber.Sequence, scoped))
}

// met returns an engine that has been discovered.
func met(t testing.TB, id []byte) *usm.Engine {
	t.Helper()
	e := usm.NewEngine(user(t), "")
	o, err := e.Open(discovery(id, 4, 100), 1, at)
	require.NoError(t, err)
	require.True(t, o.Report)
	require.False(t, e.Known())
	require.NoError(t, e.Adopt(o, at))
	require.True(t, e.Known())
	return e
}

var engineID = []byte("\x80\x00\x7e\xd9\x05roof")

func TestSealedMessageOpensAtAnEngineOfTheSameKey(t *testing.T) {
	a, b := met(t, engineID), met(t, engineID)
	m := a.Seal(nil, 5, pdu, at)
	require.NotContains(t, string(m), string(pdu), "encrypted")
	o, err := b.Open(m, 5, at)
	require.NoError(t, err)
	require.Equal(t, pdu, o.PDU)
	require.False(t, o.Report)
}

func TestSealNeverRepeatsASalt(t *testing.T) {
	e := met(t, engineID)
	one := e.Seal(nil, 5, pdu, at)
	two := e.Seal(nil, 5, pdu, at)
	require.Len(t, two, len(one))
	require.False(t, bytes.Equal(one[len(one)-len(pdu):], two[len(two)-len(pdu):]))
}

func TestOpenRefuses(t *testing.T) {
	tests := []struct {
		name   string
		id     int32
		change func(b []byte) []byte
		opener func(t *testing.T) *usm.Engine
		want   error
	}{
		{name: "another id", id: 6, want: usm.ErrID},
		{name: "another engine", opener: func(t *testing.T) *usm.Engine { return met(t, []byte("\x80\x00\x7e\xd9\x05room")) }, want: usm.ErrUser},
		{name: "not discovered yet", opener: func(t *testing.T) *usm.Engine { return usm.NewEngine(user(t), "") }, want: usm.ErrUser},
		{name: "a bit of the content", change: func(b []byte) []byte { b[len(b)-1] ^= 4; return b }, want: usm.ErrDigest},
		{name: "flags say not signed", change: func(b []byte) []byte { b[bytes.Index(b, []byte{4, 1, 7})+2] = 4; return b }, want: nil},
		{name: "another context", opener: func(t *testing.T) *usm.Engine { return context(t) }, want: usm.ErrContext},
		{name: "cut short", change: func(b []byte) []byte { return b[:len(b)-3] }, want: ber.ErrTruncated},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m := met(t, engineID).Seal(nil, 5, pdu, at)
			if tt.change != nil {
				m = tt.change(m)
			}
			opener, id := met(t, engineID), tt.id
			if tt.opener != nil {
				opener = tt.opener(t)
			}
			if id == 0 {
				id = 5
			}
			_, err := opener.Open(m, id, at)
			require.Error(t, err)
			if tt.want != nil {
				require.ErrorIs(t, err, tt.want)
			}
		})
	}
}

func context(t *testing.T) *usm.Engine {
	e := usm.NewEngine(user(t), "elsewhere")
	o, err := e.Open(discovery(engineID, 4, 100), 1, at)
	require.NoError(t, err)
	require.NoError(t, e.Adopt(o, at))
	return e
}

func TestAdoptRefusesEngineIDsOfWrongLength(t *testing.T) {
	for _, id := range []string{"", "four", string(make([]byte, 33))} { // RFC 3411 section 5: 5 to 32 octets
		e := usm.NewEngine(user(t), "")
		o, err := e.Open(discovery([]byte(id), 1, 1), 1, at)
		require.NoError(t, err)
		require.ErrorIs(t, e.Adopt(o, at), usm.ErrEngineID)
		require.False(t, e.Known())
	}
}

func TestForgottenEngineIsDiscoveredAgain(t *testing.T) {
	e := met(t, engineID)
	e.Forget()
	require.False(t, e.Known())
	m := e.Seal(nil, 1, pdu, at)
	require.NotContains(t, string(m), string(pdu), "a discovery request holds no PDU of ours")
	require.NotContains(t, string(m), "reader")
}

// BenchmarkFirstContact measures what a unit costs when it is met for the first
// time, sha256 and aes128: the passwords have been stretched already.
func BenchmarkFirstContact(b *testing.B) {
	u := user(b)
	met := func() {
		e := usm.NewEngine(u, "")
		o, err := e.Open(discovery(engineID, 4, 100), 1, at)
		if err != nil || e.Adopt(o, at) != nil {
			b.Fatal(err)
		}
	}
	met()
	b.ReportAllocs()
	for b.Loop() {
		met()
	}
}

// sealed is pdu as Seal wrapped it once, in a message with id 5.
const sealed = "3072020103300e020105020300ffe3040107020103043f303d040980007ed905726f6f6602010402016404067265616465720418563348d4060db464aa8e8f5f5b4ca0694fb8" +
	"24556c4c843404084b75185c306e5f05041c8721fffaefcee55165a4100f104e511df752c68af14c79b8c1360e9c"

func TestSealedMessageOfOldOpens(t *testing.T) {
	o, err := met(t, engineID).Open(unhex(t, sealed), 5, at)
	require.NoError(t, err)
	require.Equal(t, pdu, o.PDU)
}

func FuzzOpen(f *testing.F) {
	signed := unhex(f, sealed)
	f.Add(signed)
	f.Add(discovery(engineID, 4, 100))
	f.Add([]byte{0x30, 5, 2, 1, 3, 0x30, 0})
	e := met(f, engineID)
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, id := range []int32{1, 5} {
			o, err := e.Open(bytes.Clone(b), id, at)
			if err == nil && !o.Report {
				require.Equal(t, signed, b, "only what was sealed with the key is an answer")
			}
			require.True(t, err != nil || ber.Whole(o.PDU))
		}
	})
}
