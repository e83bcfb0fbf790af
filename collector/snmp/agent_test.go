package snmp_test

import (
	"net"
	"sync/atomic"
	"testing"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"

	"lightwell/collector/snmp/ber"
)

const testCommunity = "agent-test"

// An agent answers every datagram on a loopback port with what its handler
// returns.
type agent struct {
	addr     string
	conn     *net.UDPConn
	requests atomic.Int32
}

func startAgent(t testing.TB, handle func(request []byte) [][]byte) *agent {
	t.Helper()
	return startAgentFrom(t, func(b []byte, _ *net.UDPAddr) [][]byte { return handle(b) })
}

// startAgentFrom is startAgent with a handler that is told who asks.
func startAgentFrom(t testing.TB, handle func(request []byte, from *net.UDPAddr) [][]byte) *agent {
	t.Helper()
	conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	a := &agent{addr: conn.LocalAddr().String(), conn: conn}
	done := make(chan struct{})
	go func() {
		defer close(done)
		buf := make([]byte, 65536)
		for {
			n, from, err := conn.ReadFromUDPAddrPort(buf)
			if err != nil {
				return
			}
			a.requests.Add(1)
			for _, reply := range handle(append([]byte(nil), buf[:n]...), net.UDPAddrFromAddrPort(from)) {
				_, _ = conn.WriteToUDPAddrPort(reply, from)
			}
		}
	}()
	t.Cleanup(func() { conn.Close(); <-done })
	return a
}

// A question is a GET of version 1 or 2c taken apart by gosnmp.
type question struct {
	t    testing.TB
	id   uint32
	oids []string
	ask  *gosnmp.SnmpPacket
}

func ask(t testing.TB, request []byte) question {
	codec := gosnmp.GoSNMP{Version: gosnmp.Version2c}
	p, err := codec.SnmpDecodePacket(request)
	if err != nil || p.PDUType != gosnmp.GetRequest || p.Community != testCommunity {
		t.Errorf("request cannot be read: %v", err)
	}
	q := question{t: t, id: p.RequestID, ask: p}
	for _, v := range p.Variables {
		q.oids = append(q.oids, v.Name)
	}
	return q
}

// fields answers the objects asked for: the supplies' states are good, all
// other values 7.
func (q question) fields() []gosnmp.SnmpPDU {
	out := make([]gosnmp.SnmpPDU, len(q.oids))
	for i, oid := range q.oids {
		out[i] = gosnmp.SnmpPDU{Name: oid, Type: gosnmp.Integer, Value: 7}
		switch oid {
		case ".1.3.6.1.4.1.32473.7.1.3.1.0", ".1.3.6.1.4.1.32473.7.1.3.2.0":
			out[i].Value = 1
		case ".1.3.6.1.2.1.1.3.0":
			out[i] = gosnmp.SnmpPDU{Name: oid, Type: gosnmp.TimeTicks, Value: uint32(123456)}
		}
	}
	return out
}

func (q question) packet(fields []gosnmp.SnmpPDU) *gosnmp.SnmpPacket {
	return &gosnmp.SnmpPacket{Version: q.ask.Version, Community: testCommunity, PDUType: gosnmp.GetResponse, RequestID: q.id, Variables: fields}
}

func marshal(t testing.TB, p *gosnmp.SnmpPacket) []byte {
	b, err := p.MarshalMsg()
	if err != nil {
		t.Errorf("encode reply: %v", err)
	}
	return b
}

// reply is the right answer, changed by f.
func (q question) reply(f func(*gosnmp.SnmpPacket)) []byte {
	p := q.packet(q.fields())
	if f != nil {
		f(p)
	}
	return marshal(q.t, p)
}

// raw is a reply with header integers and variables of the caller's encoding.
func (q question) raw(header, variables []byte) []byte {
	pdu := ber.Append(nil, ber.Response, header, ber.Append(nil, ber.Sequence, variables))
	return ber.Append(nil, ber.Sequence, []byte{2, 1, 1}, ber.Append(nil, ber.OctetString, []byte(testCommunity)), pdu)
}

// header is request id, status and index.
func (q question) header(status, index int32) []byte {
	return ber.AppendInt32(ber.AppendInt32(ber.AppendInt32(nil, int32(q.id)), status), index)
}
