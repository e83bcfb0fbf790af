package snmp_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/snmp"
	"lightwell/collector/snmp/ber"
	"lightwell/collector/snmp/usm"
)

// BenchmarkPoll measures one poll of 24 objects over loopback, socket opened
// and closed. The figures include the responder, which allocates nothing for
// version 2c and does the same cryptography as the client for version 3.
func BenchmarkPoll(b *testing.B) {
	dir := b.TempDir()
	var m strings.Builder
	m.WriteString("model: twenty-four\ndescription: for a benchmark\nroles: [indoor]\nsupplies: 1\npoints:\n  - {quantity: uptime, object: 1.3.6.1.2.1.1.3.0, scale: 0.01}\n")
	for i := range 23 {
		fmt.Fprintf(&m, "  - {quantity: rf_output_level, port: p%d, object: 1.3.6.1.4.1.32473.9.%d.0, scale: 0.1, unit: dBm}\n", i, i)
	}
	require.NoError(b, os.WriteFile(filepath.Join(dir, "m.yaml"), []byte(m.String()), 0o600))
	set := models(b)
	require.NoError(b, set.AddFolder(dir))
	for name, c := range map[string]snmp.Credentials{"v2c": v2c(testCommunity), "v3": v3("sha256", "aes128")} {
		b.Run(name, func(b *testing.B) {
			cfg := snmp.Default()
			cfg.Models, cfg.Credentials = set, map[string]snmp.Credentials{"c": c}
			cl, err := snmp.New(cfg, zap.NewNop())
			require.NoError(b, err)
			defer cl.Close()
			r := &responder{b: b}
			if name == "v3" {
				r.engine = benchEngine(b)
			}
			u := unitAt(startAgent(b, r.handle).addr)
			u.Equipment.Model = "twenty-four"
			_, err = cl.Probe(b.Context(), u)
			require.NoError(b, err)
			b.ReportAllocs()
			for b.Loop() {
				rs, err := cl.Probe(b.Context(), u)
				if err != nil || len(rs) != 24 || rs[0].Quality != collector.Good {
					b.Fatal(err)
				}
			}
		})
	}
}

// A responder turns the GET itself into the answer: every NULL becomes an
// integer by the same length of the message.
type responder struct {
	b      *testing.B
	engine *usm.Engine // nil for version 2c
	out    [1][]byte
	buf    []byte
}

func (r *responder) handle(request []byte) [][]byte {
	if r.engine == nil {
		m := ber.NewReader(request).Into(ber.Sequence)
		m.Int32()
		community := m.Element(ber.OctetString)
		r.buf = answer(r.buf[:0], m.Rest())
		r.out[0] = ber.Append(nil, ber.Sequence, []byte{2, 1, 1, 4, byte(len(community))}, community, r.buf)
		return r.out[:]
	}
	m := ber.NewReader(request).Into(ber.Sequence)
	m.Int32()
	id := m.Into(ber.Sequence).Int32()
	o, err := r.engine.Open(request, id, time.Now())
	if err != nil { // the discovery request
		r.out[0] = discovered(id)
		return r.out[:]
	}
	r.buf = answer(r.buf[:0], o.PDU)
	r.out[0] = r.engine.Seal(nil, id, r.buf, time.Now())
	return r.out[:]
}

// answer appends the response to a GET: each value is the integer 7.
func answer(dst, get []byte) []byte {
	r := ber.NewReader(get).Into(ber.GetRequest)
	id := r.Int32()
	r.Int32()
	r.Int32()
	var list []byte
	for v := r.Into(ber.Sequence); len(v.Rest()) > 0 && v.Err() == nil; {
		list = ber.Append(list, ber.Sequence, ber.Append(nil, ber.ObjectID, v.Into(ber.Sequence).Element(ber.ObjectID)), []byte{2, 1, 7})
	}
	head := append(ber.AppendInt32(nil, id), 2, 1, 0, 2, 1, 0)
	return ber.Append(dst, ber.Response, head, ber.Append(nil, ber.Sequence, list))
}

const benchEngineID = "\x80\x00\x7e\xd9\x05bench"

// discovered is the report that answers a discovery request.
func discovered(id int32) []byte {
	oid := ber.Append(nil, ber.ObjectID, []byte{0x2b, 6, 1, 6, 3, 15, 1, 1, 4, 0})
	list := ber.Append(nil, ber.Sequence, ber.Append(nil, ber.Sequence, oid, []byte{0x41, 1, 1}))
	pdu := ber.Append(nil, ber.Report, []byte{2, 1, 0, 2, 1, 0, 2, 1, 0}, list)
	head := append(ber.AppendInt32(nil, id), 2, 3, 0, 0xff, 0xe3, 4, 1, 0, 2, 1, 3)
	engine := ber.Append(nil, ber.OctetString, []byte(benchEngineID))
	s := append(append([]byte{}, engine...), 2, 1, 5, 2, 1, 100, 4, 0, 4, 0, 4, 0)
	return ber.Append(nil, ber.Sequence, []byte{2, 1, 3}, ber.Append(nil, ber.Sequence, head), ber.Append(nil, ber.OctetString, ber.Append(nil, ber.Sequence, s)),
		ber.Append(nil, ber.Sequence, append(engine, 4, 0), pdu))
}

func benchEngine(b *testing.B) *usm.Engine {
	c := v3("sha256", "aes128")
	u, err := usm.NewUser(usm.Account{User: c.User, Auth: c.Auth, AuthPassword: c.AuthPassword, Privacy: c.Privacy, PrivacyPassword: c.PrivacyPassword})
	require.NoError(b, err)
	e := usm.NewEngine(u, "")
	o, err := e.Open(discovered(1), 1, time.Now())
	require.NoError(b, err)
	require.NoError(b, e.Adopt(o, time.Now()))
	return e
}
