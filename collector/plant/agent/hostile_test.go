package agent_test

import (
	"bytes"
	"encoding/hex"
	"math/rand/v2"
	"net"
	"strings"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/collector/plant/agent"
)

// requests are whole messages, by hand: a version 2c GET of sysUpTime.0, and
// the empty version 3 GET that clients send to learn the engine id
// (RFC 3414 section 4).
var requests = map[string]string{
	"get":      "302a020101040a706c616e742d72656164a019020101020100020100300e300c06082b060102010103000500",
	"discover": "303e020103301102042f0c5a5b020300ffe30401040201030410300e0400020100020100040004000400301404000400a00e020437f0ee3f0201000201003000",
}

func octets(t testing.TB, name string) []byte {
	t.Helper()
	return unhex(t, requests[name])
}

func offline(t testing.TB, source agent.Source) *agent.Agents {
	t.Helper()
	a, err := agent.New(config(source, "nq-room"), zap.NewNop())
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, a.Close()) })
	return a
}

func TestHostile(t *testing.T) {
	a, now := offline(t, rackUnit()), time.Now()
	alter := func(name string, old, new string) []byte {
		b := octets(t, name)
		was, is := unhex(t, old), unhex(t, new)
		require.Equal(t, 1, bytes.Count(b, was), "the octets to change stand there once")
		return bytes.Replace(b, was, is, 1)
	}
	require.NotEmpty(t, a.Answer("nq-room", octets(t, "get"), now))
	require.NotEmpty(t, a.Answer("nq-room", octets(t, "discover"), now))
	for _, c := range []struct {
		name     string
		datagram []byte
	}{
		{"nothing", nil},
		{"one octet", []byte{0x30}},
		{"seven octets of version 3", []byte{0x30, 5, 2, 1, 3, 0x30, 0}},
		{"indefinite length", alter("get", "302a", "3080")},
		{"length beyond the datagram", alter("get", "302a", "302b")},
		{"length of four octets, all set", append([]byte{0x30, 0x84, 0xff, 0xff, 0xff, 0xff}, octets(t, "get")[2:]...)},
		{"length of nine octets", append([]byte{0x30, 0x89, 0, 0, 0, 0, 0, 0, 0, 0, 0x2a}, octets(t, "get")[2:]...)},
		{"octets behind the message", append(octets(t, "get"), 0)},
		{"unknown version", alter("get", "302a020101", "302a020104")},
		{"another community", alter("get", "706c616e74", "506c616e74")},
		{"a response", alter("get", "a019", "a219")},
		{"a trap of version 2", alter("get", "a019", "a719")},
		{"an inform", alter("get", "a019", "a619")},
		{"name with a non-minimal octet", alter("get", "2b0601020101", "2b8001020101")},
		{"name that does not end", alter("get", "01010300", "01010380")},
		{"name without octets", alter("get", "06082b06010201010300", "06002b06010201010300")},
		{"list is a string", alter("get", "300e300c", "040e300c")},
		{"high tag number", alter("get", "a019", "bf19")},
		{"security model 1", alter("discover", "0201030410", "0201010410")},
		{"privacy without authentication", alter("discover", "040104", "040106")},
		{"report not wanted", alter("discover", "040104", "040100")},
		{"maximum size below 484", alter("discover", "020300ffe3", "02030001e3")},
		{"negative boots", alter("discover", "300e0400020100", "300e04000201ff")},
		{"integer of five octets", alter("discover", "02042f0c5a5b", "0205002f0c5a")},
	} {
		t.Run(c.name, func(t *testing.T) { require.Empty(t, a.Answer("nq-room", c.datagram, now)) })
	}
}

// Junk does not stop the agent: between the volleys it answers.
func TestJunkOnTheSocket(t *testing.T) {
	addr := start(t, config(rackUnit(), "nq-room")).Addr("nq-room")
	conn, err := net.Dial("udp", addr)
	require.NoError(t, err)
	defer conn.Close()
	client, rng := plain(t, portOf(t, addr)), rand.New(rand.NewPCG(1, 2))
	for range 10 {
		for i := range 50 {
			junk := octets(t, []string{"get", "discover"}[i%2])
			for range 1 + rng.IntN(6) {
				junk[rng.IntN(len(junk))] = byte(rng.Uint32())
			}
			_, err := conn.Write(junk[:1+rng.IntN(len(junk))])
			require.NoError(t, err)
		}
		_, err = conn.Write(make([]byte, 60000))
		require.NoError(t, err)
		reply, err := client.Get([]string{"1.3.6.1.2.1.1.5.0"})
		require.NoError(t, err)
		require.Equal(t, []byte("nq-room"), reply.Variables[0].Value)
	}
}

func unsigned(g *gosnmp.GoSNMP, _ *gosnmp.UsmSecurityParameters) {
	g.MsgFlags, g.SecurityParameters = gosnmp.NoAuthNoPriv, &gosnmp.UsmSecurityParameters{UserName: "open"}
}

// A sender that takes 484 octets gets no more: RFC 3412 section 6.3.
func TestSmallSender(t *testing.T) {
	l := newLine(t, rackUnit())
	client := dial(t, l.port, unsigned)
	_, err := client.GetBulk([]string{enterprise + ".2"}, 0, 24)
	require.NoError(t, err)
	request := l.last()
	require.Greater(t, len(l.send(request)), 600)
	at := bytes.Index(request, []byte{0x02, 0x03, 0x00})
	require.Positive(t, at, "msgMaxSize in three octets")
	copy(request[at:], []byte{0x02, 0x03, 0x00, 0x01, 0xe4})
	small := l.send(request)
	require.NotEmpty(t, small)
	require.LessOrEqual(t, len(small), 484)
}

// FuzzAnswer feeds datagrams: no panic, no reply above the limit, and every
// reply is one that gosnmp reads.
func FuzzAnswer(f *testing.F) {
	for name := range requests {
		f.Add(octets(f, name))
	}
	l := newLine(f, rackUnit())
	for _, client := range []*gosnmp.GoSNMP{plain(f, l.port), dial(f, l.port, unsigned)} {
		_, err := client.GetBulk([]string{enterprise, "1.3.6.1.6"}, 0, 3)
		require.NoError(f, err)
		f.Add(l.last())
	}
	a, now := offline(f, rackUnit()), time.Now()
	f.Fuzz(func(t *testing.T, datagram []byte) {
		out := a.Answer("nq-room", datagram, now)
		if out == nil {
			return
		}
		require.LessOrEqual(t, len(out), 4096)
		g := &gosnmp.GoSNMP{Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, SecurityParameters: &gosnmp.UsmSecurityParameters{UserName: "open"}}
		_, err := g.SnmpDecodePacket(out)
		require.NoError(t, err)
	})
}

// FuzzOID: what is read from octets is written back as the same octets.
func FuzzOID(f *testing.F) {
	for _, seed := range []string{"2b06010201010300", "8837", "78", "2b8fffffff7f", "2b908080807f"} {
		b, _ := hex.DecodeString(seed)
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, content []byte) {
		text, ok := agent.OIDText(content)
		if !ok {
			return
		}
		back, ok := agent.ParseOID(text)
		require.True(t, ok, text)
		require.Equal(t, content, back)
	})
}

// X.690 8.19.5 gives 2.999.3 as 88 37 03; RFC 2578 limits the rest.
func TestOID(t *testing.T) {
	for _, c := range []struct{ text, octets string }{
		{"2.999.3", "883703"}, {"1.3.6.1", "2b0601"}, {".1.3.6.1", "2b0601"}, {"0.39", "27"}, {"2.0", "50"},
		{"1.3.127", "2b7f"}, {"1.3.128", "2b8100"}, {"1.3.4294967295", "2b8fffffff7f"},
	} {
		got, ok := agent.ParseOID(c.text)
		require.True(t, ok, c.text)
		require.Equal(t, c.octets, hex.EncodeToString(got))
	}
	for _, bad := range []string{"", ".", "1", "3.1", "1.40", "1.3.-1", "1.3.4294967296", "1..3", "a.b"} {
		_, ok := agent.ParseOID(bad)
		require.False(t, ok, bad)
	}
	for _, bad := range []string{"", "80", "2b80", "2b8001", "2b9080808000", "2bffffffffffffffffffff7f", strings.Repeat("01", 128)} {
		_, ok := agent.OIDText(unhex(t, bad))
		require.False(t, ok, bad)
	}
}

// One request for 24 objects and its reply, without the socket.
func BenchmarkAnswer(b *testing.B) {
	var names []string
	for _, o := range rackUnit().objects[10:] {
		names = append(names, o.OID)
	}
	for _, version := range []string{"v2c", "v3"} {
		b.Run(version, func(b *testing.B) {
			l := newLine(b, rackUnit())
			client := plain(b, l.port)
			if version == "v3" {
				client = dial(b, l.port, nil)
			}
			_, err := client.Get(names)
			require.NoError(b, err)
			request, answer, now := l.last(), l.agent.Exchange("nq-room"), time.Now()
			datagram := make([]byte, len(request))
			b.ReportAllocs()
			for b.Loop() {
				copy(datagram, request) // it is decrypted in place
				if len(answer(datagram, now)) < 400 {
					b.Fatal("short reply")
				}
			}
		})
	}
}

// The same over a socket, with gosnmp as the client.
func BenchmarkSocket(b *testing.B) {
	client := plain(b, portOf(b, start(b, config(rackUnit(), "nq-room")).Addr("nq-room")))
	b.ReportAllocs()
	for b.Loop() {
		_, err := client.Get([]string{"1.3.6.1.2.1.1.3.0"})
		require.NoError(b, err)
	}
}
