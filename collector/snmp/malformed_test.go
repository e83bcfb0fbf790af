package snmp_test

import (
	"bytes"
	"net"
	"slices"
	"testing"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/snmp"
	"lightwell/collector/snmp/ber"
)

// variable is the encoded variable 1.3.6.1.4.1.32473.7.1.2.1.0 with a value.
func variable(value ...byte) []byte {
	oid := []byte{0x2b, 6, 1, 4, 1, 0x81, 0xfd, 0x59, 7, 1, 2, 1, 0}
	return ber.Append(nil, ber.Sequence, ber.Append(nil, ber.ObjectID, oid), value)
}

// wrongReplies are answers that must not count, each to a GET of the rack
// model's objects.
var wrongReplies = []struct {
	name string
	make func(q question) []byte
	says string
}{
	{"empty", func(question) []byte { return nil }, "cut short"},
	{"junk", func(question) []byte { return []byte("GET / HTTP/1.1\r\n\r\n") }, "cut short"},
	{"zeros", func(question) []byte { return make([]byte, 500) }, "tag"},
	{"only a header", func(question) []byte { return []byte{0x30, 0x82} }, "cut short"},
	{"truncated", func(q question) []byte { b := q.reply(nil); return b[:len(b)-5] }, "cut short"},
	{"octets behind", func(q question) []byte { return append(q.reply(nil), 0) }, "after the last"},
	{"indefinite length", func(q question) []byte { b := q.reply(nil); b[1] = 0x80; return b }, "length"},
	{"request id zero", func(q question) []byte { return q.reply(func(p *gosnmp.SnmpPacket) { p.RequestID = 0 }) }, "request id"},
	{"other request id", func(q question) []byte { return q.reply(func(p *gosnmp.SnmpPacket) { p.RequestID += 1000 }) }, "request id"},
	{"request id of 33 bits", func(q question) []byte {
		id := []byte{2, 5, 1, byte(q.id >> 24), byte(q.id >> 16), byte(q.id >> 8), byte(q.id)}
		return q.raw(append(id, 2, 1, 0, 2, 1, 0), variable(2, 1, 7))
	}, "beyond 32 bits"},
	{"other version", func(q question) []byte { return q.reply(func(p *gosnmp.SnmpPacket) { p.Version = gosnmp.Version1 }) }, "version"},
	{"other community", func(q question) []byte { return q.reply(func(p *gosnmp.SnmpPacket) { p.Community = "other" }) }, "community"},
	{"request sent back", func(q question) []byte { return q.reply(func(p *gosnmp.SnmpPacket) { p.PDUType = gosnmp.GetRequest }) }, "tag"},
	{"a trap", func(q question) []byte { return q.reply(func(p *gosnmp.SnmpPacket) { p.PDUType = gosnmp.SNMPv2Trap }) }, "tag"},
	{"no objects", func(q question) []byte { return q.reply(func(p *gosnmp.SnmpPacket) { p.Variables = nil }) }, "0 objects"},
	{"one fewer", func(q question) []byte { return q.reply(func(p *gosnmp.SnmpPacket) { p.Variables = p.Variables[1:] }) }, "13 objects"},
	{"one more", func(q question) []byte {
		return q.reply(func(p *gosnmp.SnmpPacket) { p.Variables = append(p.Variables, p.Variables[0]) })
	}, "15 objects"},
	{"two exchanged", func(q question) []byte {
		return q.reply(func(p *gosnmp.SnmpPacket) {
			p.Variables[0].Name, p.Variables[1].Name = p.Variables[1].Name, p.Variables[0].Name
		})
	}, "instead of"},
	{"another object", func(q question) []byte {
		return q.reply(func(p *gosnmp.SnmpPacket) { p.Variables[0].Name = ".1.3.6.1.4.1.32473.99.0" })
	}, "32473.99"},
	{"all the same object", func(q question) []byte {
		return q.reply(func(p *gosnmp.SnmpPacket) {
			for i := range p.Variables {
				p.Variables[i].Name = p.Variables[0].Name
			}
		})
	}, "instead of"},
	{"endless objects", func(q question) []byte {
		return q.raw(q.header(0, 0), bytes.Repeat(variable(2, 1, 7), 2700))
	}, "2700 objects"},
	{"deep nesting", func(q question) []byte {
		b := variable(2, 1, 7)
		for range 1000 {
			b = ber.Append(nil, ber.Sequence, b)
		}
		return q.raw(q.header(0, 0), b)
	}, "not whole"},
	{"integer of nine octets", func(q question) []byte {
		return q.raw(q.header(0, 0), variable(2, 9, 1, 2, 3, 4, 5, 6, 7, 8, 9))
	}, "decode"},
	{"octets longer than their place", func(q question) []byte { return q.raw(q.header(0, 0), variable(4, 4, '1', '2', '3')) }, "not whole"},
	{"error status of 256", func(q question) []byte { return q.raw(q.header(256, 0), nil) }, ""},
	{"error at an object not asked for", func(q question) []byte { return q.raw(q.header(2, 900), nil) }, "900"},
	{"error at a negative object", func(q question) []byte { return q.raw(q.header(2, -1), nil) }, "-1"},
}

func TestWrongRepliesNeitherCountNorUseUpATry(t *testing.T) {
	for _, tt := range wrongReplies {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			alone := startAgent(t, func(b []byte) [][]byte { return [][]byte{tt.make(ask(t, b))} })
			_, err := client(t, v2c(testCommunity), impatient).Probe(t.Context(), unitAt(alone.addr))
			require.ErrorIs(t, err, collector.ErrMalformed)
			require.ErrorContains(t, err, tt.says)
			if tt.name == "error status of 256" {
				return // is an answer, and not a good one
			}
			require.EqualValues(t, 2, alone.requests.Load())

			before := startAgent(t, func(b []byte) [][]byte {
				q := ask(t, b)
				return [][]byte{tt.make(q), tt.make(q), tt.make(q), q.reply(nil)}
			})
			rs, err := client(t, v2c(testCommunity)).Probe(t.Context(), unitAt(before.addr))
			require.NoError(t, err)
			require.Equal(t, 0.07, reading(t, rs, "optical_receive_power").Value)
			require.EqualValues(t, 1, before.requests.Load())
		})
	}
}

func TestReplyFromAnotherPortDoesNotCount(t *testing.T) {
	other, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	defer other.Close()
	conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	done := make(chan struct{})
	go func() {
		defer close(done)
		buf := make([]byte, 65536)
		for {
			n, from, err := conn.ReadFromUDPAddrPort(buf)
			if err != nil {
				return
			}
			_, _ = other.WriteToUDPAddrPort(ask(t, buf[:n]).reply(nil), from)
		}
	}()
	defer func() { conn.Close(); <-done }()
	_, err = client(t, v2c(testCommunity), impatient).Probe(t.Context(), unitAt(conn.LocalAddr().String()))
	requireCause(t, err, snmp.Silent, collector.ErrNoAnswer)
}

// TestLateReplyToAnEarlierRequest: the answer to the first GET of a unit comes
// again, with other values, before each later one.
func TestLateReplyToAnEarlierRequest(t *testing.T) {
	var late [][]byte
	a := startAgent(t, func(b []byte) [][]byte {
		q := ask(t, b)
		out := append(slices.Clone(late), q.reply(nil))
		late = append(late, q.reply(func(p *gosnmp.SnmpPacket) {
			for i := range p.Variables {
				p.Variables[i].Value, p.Variables[i].Type = 1111, gosnmp.Integer
			}
		}))
		return out
	})
	rs, err := client(t, v2c(testCommunity), func(c *snmp.Config) { c.MaxObjects = 3 }).Probe(t.Context(), unitAt(a.addr))
	require.NoError(t, err)
	require.EqualValues(t, 5, a.requests.Load(), "14 objects, 3 at a time")
	require.Equal(t, 0.7, reading(t, rs, "rf_output_level").Value)
	require.Equal(t, 1234.56, reading(t, rs, "uptime").Value)
}

func TestErrorStatus(t *testing.T) {
	supplyB := ".1.3.6.1.4.1.32473.7.1.3.2.0"
	refuse := func(status gosnmp.SNMPError) func(q question) []byte {
		return func(q question) []byte {
			if i := slices.Index(q.oids, supplyB); i >= 0 {
				return q.reply(func(p *gosnmp.SnmpPacket) { p.Error, p.ErrorIndex = status, uint8(i+1) })
			}
			return q.reply(nil)
		}
	}
	atMost := func(n int) func(q question) []byte {
		return func(q question) []byte {
			if len(q.oids) > n {
				return q.reply(func(p *gosnmp.SnmpPacket) { p.Error, p.Variables = gosnmp.TooBig, nil })
			}
			return q.reply(nil)
		}
	}
	always := func(status gosnmp.SNMPError) func(q question) []byte {
		return func(q question) []byte { return q.reply(func(p *gosnmp.SnmpPacket) { p.Error = status }) }
	}
	tests := []struct {
		name    string
		version string
		answer  func(q question) []byte
		cause   snmp.Cause // "" when it succeeds
		supplyB collector.Quality
	}{
		{"version 1 has no such name", snmp.Version1, refuse(gosnmp.NoSuchName), "", collector.Unavailable},
		{"version 2c has no such name", snmp.Version2c, refuse(gosnmp.NoSuchName), "", collector.Unavailable},
		{"general error at one object", snmp.Version2c, refuse(gosnmp.GenErr), "", collector.Unavailable},
		{"no access to one object", snmp.Version2c, refuse(gosnmp.NoAccess), "", collector.Unavailable},
		{"five at a time", snmp.Version2c, atMost(5), "", collector.Good},
		{"one at a time", snmp.Version2c, atMost(1), "", collector.Good},
		{"not even one", snmp.Version2c, atMost(0), "", collector.Unavailable},
		{"general error", snmp.Version2c, always(gosnmp.GenErr), snmp.ErrorStatus, 0},
		{"not authorised", snmp.Version2c, always(gosnmp.AuthorizationError), snmp.NotAuthorised, 0},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			a := startAgent(t, func(b []byte) [][]byte { return [][]byte{tt.answer(ask(t, b))} })
			c := v2c(testCommunity)
			c.Version = tt.version
			details, err := client(t, c).Read(t.Context(), unitAt(a.addr))
			if tt.cause != "" {
				var e *snmp.Error
				require.ErrorAs(t, err, &e)
				require.Equal(t, tt.cause, e.Cause)
				return
			}
			require.NoError(t, err)
			require.Len(t, details, 14)
			for _, d := range details {
				if d.Point.String() == "supply_state/b" {
					require.Equal(t, tt.supplyB, d.Quality)
					require.Equal(t, tt.supplyB == collector.Good, d.Note == "", "note: %s", d.Note)
				}
			}
			require.LessOrEqual(t, a.requests.Load(), int32(28), "at most two requests for each object")
		})
	}
}
