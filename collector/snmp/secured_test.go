package snmp_test

import (
	"sync"
	"testing"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/snmp"
)

// An engine is the authoritative side of version 3, made with gosnmp's own
// user-based security model. It checks the window as RFC 3414 3.2 step 7a.
type engine struct {
	t     testing.TB
	mu    sync.Mutex
	id    string
	boots uint32
	time  uint32
	quiet bool // reports are not signed
	blank bool // the discovery report holds no boots and time, as RFC 3414 section 4 allows
	level gosnmp.SnmpV3MsgFlags
	// answer may change what is sent back; nil sends the right answer
	answer func(e *engine, req *gosnmp.SnmpPacket, right []byte) [][]byte
	kept   [][]byte // for replays
}

func newEngine(t testing.TB) *engine {
	return &engine{t: t, id: "\x80\x00\x7e\xd9\x01\x7f\x00\x00\x01", boots: 3, time: 1000, level: gosnmp.AuthPriv}
}

func (e *engine) change(f func(*engine)) {
	e.mu.Lock()
	defer e.mu.Unlock()
	f(e)
}

func (e *engine) security() *gosnmp.UsmSecurityParameters {
	sp := &gosnmp.UsmSecurityParameters{UserName: "reader", AuthoritativeEngineID: e.id, AuthoritativeEngineBoots: e.boots, AuthoritativeEngineTime: e.time}
	if e.level&gosnmp.AuthNoPriv != 0 {
		sp.AuthenticationProtocol, sp.AuthenticationPassphrase = gosnmp.SHA256, authPassword
	}
	if e.level == gosnmp.AuthPriv {
		sp.PrivacyProtocol, sp.PrivacyPassphrase = gosnmp.AES, privacyPassword
	}
	if err := sp.InitSecurityKeys(); err != nil {
		e.t.Errorf("keys: %v", err)
	}
	return sp
}

func (e *engine) handle(request []byte) [][]byte {
	e.mu.Lock()
	defer e.mu.Unlock()
	codec := gosnmp.GoSNMP{Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, MsgFlags: e.level, SecurityParameters: e.security()}
	req, err := codec.SnmpDecodePacket(request)
	if err != nil {
		e.t.Errorf("request cannot be read: %v", err)
		return nil
	}
	got := req.SecurityParameters.(*gosnmp.UsmSecurityParameters)
	switch {
	case got.AuthoritativeEngineID == "":
		if len(req.Variables) > 0 || req.MsgFlags != gosnmp.Reportable {
			e.t.Errorf("not a discovery request: flags %v, %d objects", req.MsgFlags, len(req.Variables))
		}
		boots, time := e.boots, e.time
		if e.blank {
			boots, time = 0, 0
		}
		return [][]byte{e.message(req, gosnmp.NoAuthNoPriv, report(4), boots, time)}
	case got.AuthoritativeEngineID != e.id:
		return [][]byte{e.message(req, gosnmp.NoAuthNoPriv, report(4), e.boots, e.time)}
	case req.MsgFlags&gosnmp.AuthNoPriv != 0 && (got.AuthoritativeEngineBoots != e.boots || got.AuthoritativeEngineTime+150 < e.time || got.AuthoritativeEngineTime > e.time+150):
		level := gosnmp.AuthNoPriv
		if e.quiet {
			level = gosnmp.NoAuthNoPriv
		}
		return [][]byte{e.message(req, level, report(2), e.boots, e.time)}
	}
	q := question{t: e.t, ask: req, id: req.RequestID}
	for _, v := range req.Variables {
		q.oids = append(q.oids, v.Name)
	}
	right := e.message(req, e.level, &gosnmp.SnmpPacket{PDUType: gosnmp.GetResponse, RequestID: req.RequestID, Variables: q.fields()}, e.boots, e.time)
	if e.answer != nil {
		return e.answer(e, req, right)
	}
	return [][]byte{right}
}

// report is usmStats counter n.
func report(n byte) *gosnmp.SnmpPacket {
	return &gosnmp.SnmpPacket{PDUType: gosnmp.Report, Variables: []gosnmp.SnmpPDU{
		{Name: ".1.3.6.1.6.3.15.1.1." + string('0'+rune(n)) + ".0", Type: gosnmp.Counter32, Value: uint(1)}}}
}

// message completes p into an encoded answer to req.
func (e *engine) message(req *gosnmp.SnmpPacket, level gosnmp.SnmpV3MsgFlags, p *gosnmp.SnmpPacket, boots, time uint32) []byte {
	sp := e.security()
	sp.AuthoritativeEngineBoots, sp.AuthoritativeEngineTime = boots, time
	p.Version, p.SecurityModel, p.MsgFlags, p.MsgID = gosnmp.Version3, gosnmp.UserSecurityModel, level, req.MsgID
	p.ContextEngineID, p.ContextName, p.SecurityParameters = e.id, req.ContextName, sp
	if err := sp.InitPacket(p); err != nil {
		e.t.Errorf("salt: %v", err)
	}
	return marshal(e.t, p)
}

func startEngine(t testing.TB, e *engine) *agent { return startAgent(t, e.handle) }

func TestEngineIsFoundAgain(t *testing.T) {
	tests := []struct {
		name     string
		before   func(*engine)
		happens  func(*engine)
		requests int32 // for the second poll
	}{
		{"nothing happens", nil, nil, 1},
		{"discovery without a clock", func(e *engine) { e.blank = true }, nil, 1},
		{"time has passed", nil, func(e *engine) { e.time += 100 }, 1},
		{"clock jumps ahead", nil, func(e *engine) { e.time += 200 }, 2},
		{"clock jumps back", nil, func(e *engine) { e.time = 1 }, 2},
		{"restart", nil, func(e *engine) { e.boots++; e.time = 0 }, 2},
		{"restart, reports not signed", func(e *engine) { e.quiet = true }, func(e *engine) { e.boots++; e.time = 0 }, 2},
		{"boot count lost", nil, func(e *engine) { e.boots, e.time = 1, 0 }, 2},
		{"boot count lost, reports not signed", func(e *engine) { e.quiet = true }, func(e *engine) { e.boots, e.time = 1, 0 }, 2},
		{"unit exchanged", nil, func(e *engine) { e.id, e.boots, e.time = "\x80\x00\x7e\xd9\x01\x7f\x00\x00\x02", 1, 50 }, 2},
		{"unit exchanged, no clock", func(e *engine) { e.blank = true }, func(e *engine) { e.id, e.boots, e.time = "\x80\x00\x7e\xd9\x05new", 1, 50 }, 2},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			e := newEngine(t)
			if tt.before != nil {
				tt.before(e)
			}
			a := startEngine(t, e)
			cl := client(t, v3("sha256", "aes128"))
			_, err := cl.Probe(t.Context(), unitAt(a.addr))
			require.NoError(t, err)
			sent := a.requests.Load()
			if tt.happens != nil {
				e.change(tt.happens)
			}
			rs, err := cl.Probe(t.Context(), unitAt(a.addr))
			require.NoError(t, err)
			require.Equal(t, 0.07, reading(t, rs, "optical_receive_power").Value)
			require.Equal(t, tt.requests, a.requests.Load()-sent)
		})
	}
}

func TestEveryLevelAgainstGosnmp(t *testing.T) {
	for name, tt := range map[string]struct {
		level gosnmp.SnmpV3MsgFlags
		c     snmp.Credentials
	}{"noAuthNoPriv": {gosnmp.NoAuthNoPriv, v3("", "")}, "authNoPriv": {gosnmp.AuthNoPriv, v3("sha256", "")}, "authPriv": {gosnmp.AuthPriv, v3("sha256", "aes128")}} {
		t.Run(name, func(t *testing.T) {
			e := newEngine(t)
			e.level = tt.level
			rs, err := client(t, tt.c).Probe(t.Context(), unitAt(startEngine(t, e).addr))
			require.NoError(t, err)
			require.Equal(t, 0.07, reading(t, rs, "optical_receive_power").Value)
		})
	}
}

// other changes the right answer's values, so that a test would see them.
func (e *engine) other(req *gosnmp.SnmpPacket, f func(p *gosnmp.SnmpPacket)) []byte {
	p := &gosnmp.SnmpPacket{PDUType: gosnmp.GetResponse, RequestID: req.RequestID}
	for _, v := range req.Variables {
		p.Variables = append(p.Variables, gosnmp.SnmpPDU{Name: v.Name, Type: gosnmp.Integer, Value: 1111})
	}
	f(p)
	return e.message(req, e.level, p, e.boots, e.time)
}

func TestForgedAndBrokenRepliesDoNotCount(t *testing.T) {
	tests := []struct {
		name string
		make func(e *engine, req *gosnmp.SnmpPacket, right []byte) []byte
		says string
	}{
		{"one bit of the digest", func(_ *engine, _ *gosnmp.SnmpPacket, b []byte) []byte { b[75] ^= 1; return b }, ""},
		{"one bit of the content", func(_ *engine, _ *gosnmp.SnmpPacket, b []byte) []byte { b[len(b)-1] ^= 1; return b }, "digest"},
		{"not signed", func(e *engine, req *gosnmp.SnmpPacket, _ []byte) []byte {
			p := &gosnmp.SnmpPacket{PDUType: gosnmp.GetResponse, RequestID: req.RequestID, Variables: req.Variables}
			return e.message(req, gosnmp.NoAuthNoPriv, p, e.boots, e.time)
		}, "security level"},
		{"signed, not encrypted", func(e *engine, req *gosnmp.SnmpPacket, _ []byte) []byte {
			p := &gosnmp.SnmpPacket{PDUType: gosnmp.GetResponse, RequestID: req.RequestID, Variables: req.Variables}
			return e.message(req, gosnmp.AuthNoPriv, p, e.boots, e.time)
		}, "security level"},
		{"old boots", func(e *engine, req *gosnmp.SnmpPacket, _ []byte) []byte {
			p := &gosnmp.SnmpPacket{PDUType: gosnmp.GetResponse, RequestID: req.RequestID, Variables: req.Variables}
			return e.message(req, e.level, p, e.boots-1, e.time)
		}, "time window"},
		{"old time", func(e *engine, req *gosnmp.SnmpPacket, _ []byte) []byte {
			p := &gosnmp.SnmpPacket{PDUType: gosnmp.GetResponse, RequestID: req.RequestID, Variables: req.Variables}
			return e.message(req, e.level, p, e.boots, e.time-152)
		}, "time window"},
		{"other message id", func(e *engine, req *gosnmp.SnmpPacket, _ []byte) []byte {
			r := *req
			r.MsgID += 1000
			return e.other(&r, func(*gosnmp.SnmpPacket) {})
		}, "message id"},
		{"other request id", func(e *engine, req *gosnmp.SnmpPacket, _ []byte) []byte {
			return e.other(req, func(p *gosnmp.SnmpPacket) { p.RequestID += 1000 })
		}, "request id"},
		{"other context", func(e *engine, req *gosnmp.SnmpPacket, _ []byte) []byte {
			r := *req
			r.ContextName = "elsewhere"
			return e.other(&r, func(*gosnmp.SnmpPacket) {})
		}, "context"},
		{"other objects", func(e *engine, req *gosnmp.SnmpPacket, _ []byte) []byte {
			return e.other(req, func(p *gosnmp.SnmpPacket) { p.Variables = p.Variables[1:] })
		}, "objects"},
		{"truncated", func(_ *engine, _ *gosnmp.SnmpPacket, b []byte) []byte { return b[:len(b)-1] }, "cut short"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			t.Parallel()
			e := newEngine(t)
			a := startEngine(t, e)
			cl, quick := client(t, v3("sha256", "aes128")), client(t, v3("sha256", "aes128"), persistent)
			for _, c := range []*snmp.Client{cl, quick} { // the clock is known from here on
				_, err := c.Probe(t.Context(), unitAt(a.addr))
				require.NoError(t, err)
			}
			e.change(func(e *engine) {
				e.answer = func(e *engine, req *gosnmp.SnmpPacket, right []byte) [][]byte {
					wrong := tt.make(e, req, append([]byte(nil), right...))
					return [][]byte{wrong, wrong, right}
				}
			})
			sent := a.requests.Load()
			rs, err := cl.Probe(t.Context(), unitAt(a.addr))
			require.NoError(t, err)
			require.Equal(t, 0.07, reading(t, rs, "optical_receive_power").Value)
			require.EqualValues(t, 1, a.requests.Load()-sent)
			e.change(func(e *engine) {
				e.answer = func(e *engine, req *gosnmp.SnmpPacket, right []byte) [][]byte {
					return [][]byte{tt.make(e, req, right)}
				}
			})
			_, err = quick.Probe(t.Context(), unitAt(a.addr))
			requireCause(t, err, snmp.NotFitting, collector.ErrMalformed)
			require.ErrorContains(t, err, tt.says)
		})
	}
}

func TestRecordedReplyIsNotTakenAgain(t *testing.T) {
	e := newEngine(t)
	e.answer = func(e *engine, req *gosnmp.SnmpPacket, right []byte) [][]byte {
		if len(e.kept) == 0 {
			e.kept = [][]byte{e.other(req, func(*gosnmp.SnmpPacket) {})}
			return [][]byte{right}
		}
		return [][]byte{e.kept[0], right}
	}
	cl := client(t, v3("sha256", "aes128"))
	u := unitAt(startEngine(t, e).addr)
	for range 3 {
		rs, err := cl.Probe(t.Context(), u)
		require.NoError(t, err)
		require.Equal(t, 0.07, reading(t, rs, "optical_receive_power").Value)
	}
}

func TestReportsEndTheAsking(t *testing.T) {
	tests := []struct {
		counter byte
		cause   snmp.Cause
		most    int32 // requests
	}{
		{1, snmp.LevelRefused, 2},
		{2, snmp.OutsideWindow, 5}, // for ever: bounded
		{3, snmp.UserUnknown, 2},
		{4, snmp.Refused, 5}, // for ever: bounded
		{5, snmp.DigestRefused, 2},
		{6, snmp.DecryptionRefused, 2},
		{9, snmp.Refused, 2}, // not known
	}
	for _, tt := range tests {
		t.Run(string(tt.cause), func(t *testing.T) {
			t.Parallel()
			e := newEngine(t)
			e.answer = func(e *engine, req *gosnmp.SnmpPacket, _ []byte) [][]byte {
				b := e.message(req, gosnmp.NoAuthNoPriv, report(tt.counter), e.boots, e.time)
				return [][]byte{b, b, b}
			}
			a := startEngine(t, e)
			_, err := client(t, v3("sha256", "aes128")).Probe(t.Context(), unitAt(a.addr))
			requireCause(t, err, tt.cause, collector.ErrRefused)
			require.NotEmpty(t, snmp.Advice(err))
			require.LessOrEqual(t, a.requests.Load(), tt.most)
		})
	}
}

func TestSilentUnitIsDiscoveredAnew(t *testing.T) {
	e := newEngine(t)
	a := startEngine(t, e)
	cl := client(t, v3("sha256", "aes128"), persistent)
	u := unitAt(a.addr)
	_, err := cl.Probe(t.Context(), u)
	require.NoError(t, err)
	e.change(func(e *engine) {
		e.answer = func(*engine, *gosnmp.SnmpPacket, []byte) [][]byte { return nil }
	})
	_, err = cl.Probe(t.Context(), u)
	requireCause(t, err, snmp.Silent, collector.ErrNoAnswer)
	_, err = cl.Probe(t.Context(), u) // discovered, then silent
	requireCause(t, err, snmp.SilentToUser, collector.ErrNoAnswer)
	e.change(func(e *engine) { e.answer = nil })
	_, err = cl.Probe(t.Context(), u)
	require.NoError(t, err)
}
