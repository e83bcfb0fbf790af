package table_test

import (
	"bytes"
	"encoding/binary"
	"flag"
	"fmt"
	"net"
	"os"
	"time"

	"golang.org/x/net/ipv4"

	"lightwell/collector/snmp/ber"
	"lightwell/collector/snmp/usm"
)

// A crowd is the load agent: every address of 127.0.0.0/8 at one port.
type crowd struct {
	conn    *ipv4.PacketConn
	user    *usm.User
	delay   time.Duration
	dead    int                    // per cent of the units
	engines map[uint32]*usm.Engine // of the units met in version 3
	last    pattern
}

// A pattern is the last request of version 2c and its answer, which differ
// from the next ones in the request id only.
type pattern struct {
	ask, reply     []byte
	askAt, replyAt int
	idSize         int
}

type delayed struct {
	due time.Time
	ms  ipv4.Message
}

func agentMain(args []string) {
	flags := flag.NewFlagSet("agent", flag.ExitOnError)
	delay := flags.Duration("delay", 0, "")
	dead := flags.Int("dead", 0, "")
	_ = flags.Parse(args)
	conn, err := net.ListenUDP("udp4", nil)
	check(err)
	_ = conn.SetReadBuffer(16 << 20)
	_ = conn.SetWriteBuffer(16 << 20)
	c := &crowd{conn: ipv4.NewPacketConn(conn), user: benchUser(), delay: *delay, dead: *dead, engines: map[uint32]*usm.Engine{}}
	check(c.conn.SetControlMessage(ipv4.FlagDst, true))
	fmt.Println(conn.LocalAddr().(*net.UDPAddr).Port)
	c.serve()
}

func (c *crowd) serve() {
	const batch = 64
	in := make([]ipv4.Message, batch)
	for i := range in {
		in[i].Buffers, in[i].OOB = [][]byte{make([]byte, 4096)}, make([]byte, 64)
	}
	late := make(chan delayed, 1<<17)
	go c.sendLate(late)
	var source ipv4.ControlMessage
	for {
		n, err := c.conn.ReadBatch(in, 0)
		check(err)
		out := make([]ipv4.Message, 0, n)
		for i := range in[:n] {
			check(source.Parse(in[i].OOB[:in[i].NN]))
			to := source.Dst.To4()
			unit := binary.BigEndian.Uint32(to)
			if int(unit*2654435761>>16)%100 < c.dead {
				continue
			}
			reply := c.answer(unit, in[i].Buffers[0][:in[i].N])
			if reply == nil {
				continue
			}
			from := ipv4.ControlMessage{Src: append(net.IP(nil), to...)}
			out = append(out, ipv4.Message{Buffers: [][]byte{reply}, OOB: from.Marshal(), Addr: in[i].Addr})
		}
		if c.delay == 0 {
			c.send(out)
			continue
		}
		for _, m := range out {
			late <- delayed{time.Now().Add(c.delay), m}
		}
	}
}

func (c *crowd) sendLate(late chan delayed) {
	for d := range late {
		if wait := time.Until(d.due); wait > 0 {
			<-time.After(wait)
		}
		c.send([]ipv4.Message{d.ms})
	}
}

func (c *crowd) send(out []ipv4.Message) {
	for len(out) > 0 {
		n, err := c.conn.WriteBatch(out, 0)
		if err != nil {
			n = 1
		}
		out = out[n:]
	}
}

func (c *crowd) answer(unit uint32, ask []byte) []byte {
	if p := &c.last; len(ask) == len(p.ask) && bytes.Equal(ask[:p.askAt], p.ask[:p.askAt]) && bytes.Equal(ask[p.askAt+p.idSize:], p.ask[p.askAt+p.idSize:]) {
		reply := bytes.Clone(p.reply)
		copy(reply[p.replyAt:], ask[p.askAt:p.askAt+p.idSize])
		return reply
	}
	m := ber.NewReader(ask).Into(ber.Sequence)
	if m.Int32() == 3 {
		return c.secured(unit, ask, m.Into(ber.Sequence).Int32())
	}
	community := m.Element(ber.OctetString)
	reply, at, size := response(m.Rest())
	whole := ber.Append(nil, ber.Sequence, []byte{2, 1, 1}, ber.Append(nil, ber.OctetString, community), reply)
	c.last = pattern{bytes.Clone(ask), whole, len(ask) - len(m.Rest()) + at, len(whole) - len(reply) + at, size}
	return bytes.Clone(whole)
}

// response turns a GET into its answer: 24 numbers of four octets. The request
// id stands at the same place in both.
func response(get []byte) (reply []byte, at, size int) {
	r := ber.NewReader(get)
	tag, content := r.Any()
	if tag != ber.GetRequest {
		return nil, 0, 0
	}
	in := ber.NewReader(content)
	id := in.Element(ber.Integer)
	in.Int32()
	in.Int32()
	var list []byte
	for v := in.Into(ber.Sequence); len(v.Rest()) > 0 && v.Err() == nil; {
		name := ber.Append(nil, ber.ObjectID, v.Into(ber.Sequence).Element(ber.ObjectID))
		list = ber.Append(list, ber.Sequence, name, []byte{2, 4, 0, 0x12, 0x34, 0x56})
	}
	body := append(ber.Append(nil, ber.Integer, id), 2, 1, 0, 2, 1, 0)
	body = append(body, ber.Append(nil, ber.Sequence, list)...)
	reply = ber.Append(nil, ber.Response, body)
	return reply, len(reply) - len(body) + 2, len(id)
}

func (c *crowd) secured(unit uint32, ask []byte, id int32) []byte {
	e := c.engines[unit]
	if e == nil {
		e = usm.NewEngine(c.user, "")
		report := discovered(unit, id)
		o, err := e.Open(report, id, time.Now())
		check(err)
		check(e.Adopt(o, time.Now()))
		c.engines[unit] = e
	}
	o, err := e.Open(ask, id, time.Now())
	if err != nil || len(o.PDU) < 40 { // the discovery request
		return discovered(unit, id)
	}
	reply, _, _ := response(o.PDU)
	return e.Seal(nil, id, reply, time.Now())
}

// discovered is the report to a discovery request; its clock began when the
// agent did.
func discovered(unit uint32, id int32) []byte {
	engine := binary.BigEndian.AppendUint32([]byte{0x80, 0, 0x7e, 0xd9, 1}, unit)
	oid := ber.Append(nil, ber.ObjectID, []byte{0x2b, 6, 1, 6, 3, 15, 1, 1, 4, 0})
	list := ber.Append(nil, ber.Sequence, ber.Append(nil, ber.Sequence, oid, []byte{0x41, 1, 1}))
	pdu := ber.Append(nil, ber.Report, []byte{2, 1, 0, 2, 1, 0, 2, 1, 0}, list)
	head := append(ber.AppendInt32(nil, id), 2, 3, 0, 0xff, 0xe3, 4, 1, 0, 2, 1, 3)
	name := ber.Append(nil, ber.OctetString, engine)
	clock := ber.AppendInt32([]byte{2, 1, 5}, int32(1000+time.Since(began)/time.Second))
	s := append(append(bytes.Clone(name), clock...), 4, 0, 4, 0, 4, 0)
	return ber.Append(nil, ber.Sequence, []byte{2, 1, 3}, ber.Append(nil, ber.Sequence, head), ber.Append(nil, ber.OctetString, ber.Append(nil, ber.Sequence, s)),
		ber.Append(nil, ber.Sequence, append(name, 4, 0), pdu))
}

var began = time.Now()

func check(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}
