package agent_test

import (
	"context"
	"math"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/collector/plant/agent"
)

// A line stands between a client and an agent that has no socket loop: it
// keeps what passed, so that a test can send it again at another time.
type line struct {
	port  uint16
	agent *agent.Agents
	mu    sync.Mutex
	now   time.Time
	sent  [][]byte
}

func newLine(t testing.TB, source agent.Source) *line {
	t.Helper()
	a, err := agent.New(config(source, "nq-room"), zap.NewNop())
	require.NoError(t, err)
	conn, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	l := &line{port: uint16(conn.LocalAddr().(*net.UDPAddr).Port), agent: a, now: time.Now()}
	done := make(chan struct{})
	go l.pump(conn, done)
	t.Cleanup(func() {
		require.NoError(t, conn.Close())
		<-done
		require.NoError(t, a.Close())
	})
	return l
}

func (l *line) pump(conn *net.UDPConn, done chan<- struct{}) {
	defer close(done)
	in := make([]byte, 1<<16)
	for {
		n, from, err := conn.ReadFromUDPAddrPort(in)
		if err != nil {
			return
		}
		if out := l.send(in[:n]); out != nil {
			_, _ = conn.WriteToUDPAddrPort(out, from)
		}
	}
}

func (l *line) send(datagram []byte) []byte {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.sent = append(l.sent, append([]byte(nil), datagram...))
	return l.agent.Answer("nq-room", datagram, l.now)
}

func (l *line) last() []byte {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.sent[len(l.sent)-1]
}

func (l *line) first() []byte {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.sent[0]
}

func (l *line) restamp(boots int32) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.agent.Restamp("nq-room", boots)
}

func (l *line) advance(d time.Duration) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.now = l.now.Add(d)
}

// dial returns a client of version 3 with SHA-256 and AES-128.
func dial(t testing.TB, port uint16, alter func(*gosnmp.GoSNMP, *gosnmp.UsmSecurityParameters)) *gosnmp.GoSNMP {
	t.Helper()
	usm := &gosnmp.UsmSecurityParameters{UserName: "sealed", AuthenticationProtocol: gosnmp.SHA256, AuthenticationPassphrase: password,
		PrivacyProtocol: gosnmp.AES, PrivacyPassphrase: secret}
	g := &gosnmp.GoSNMP{Target: "127.0.0.1", Port: port, Version: gosnmp.Version3, Timeout: 2 * time.Second, MaxOids: 200, Context: context.Background(),
		SecurityModel: gosnmp.UserSecurityModel, MsgFlags: gosnmp.AuthPriv, SecurityParameters: usm}
	if alter != nil {
		alter(g, usm)
	}
	require.NoError(t, g.Connect())
	t.Cleanup(func() { _ = g.Conn.Close() })
	return g
}

// report decodes a reply that need not be decrypted and returns the counter
// it reports, or "" when it is no report.
func report(t *testing.T, datagram []byte) (name string, count uint) {
	t.Helper()
	require.NotEmpty(t, datagram)
	g := &gosnmp.GoSNMP{Version: gosnmp.Version3, SecurityModel: gosnmp.UserSecurityModel, SecurityParameters: &gosnmp.UsmSecurityParameters{
		UserName: "sealed", AuthenticationProtocol: gosnmp.SHA256, AuthenticationPassphrase: password, PrivacyProtocol: gosnmp.AES, PrivacyPassphrase: secret}}
	packet, err := g.SnmpDecodePacket(datagram)
	require.NoError(t, err)
	if packet.PDUType != gosnmp.Report {
		return "", 0
	}
	require.Len(t, packet.Variables, 1)
	return packet.Variables[0].Name, packet.Variables[0].Value.(uint)
}

const (
	notInTimeWindows   = ".1.3.6.1.6.3.15.1.1.2.0"
	unknownEngineIDs   = ".1.3.6.1.6.3.15.1.1.4.0"
	unknownPDUHandlers = ".1.3.6.1.6.3.11.2.1.3.0"
	wrongDigests       = ".1.3.6.1.6.3.15.1.1.5.0"
)

// RFC 3414 section 3.2 step 7a: 150 s either way, and equal boots.
func TestTimeWindow(t *testing.T) {
	source := rackUnit()
	l := newLine(t, source)
	l.advance(1000 * time.Second)
	_, err := dial(t, l.port, nil).Get([]string{"1.3.6.1.2.1.1.5.0"})
	require.NoError(t, err)
	request := l.last()
	check := func(want string) {
		t.Helper()
		got, _ := report(t, l.send(request))
		require.Equal(t, want, got)
	}
	check("")
	l.advance(150 * time.Second)
	check("")
	l.advance(time.Second)
	check(notInTimeWindows)
	l.advance(-301 * time.Second)
	check("")
	l.advance(-time.Second)
	check(notInTimeWindows)

	l.advance(151 * time.Second)
	check("")
	source.upTime(1)
	check(notInTimeWindows)
}

func TestClientFollowsRestart(t *testing.T) {
	source := rackUnit()
	l := newLine(t, source)
	client := dial(t, l.port, nil)
	get := func() (boots uint32) {
		t.Helper()
		reply, err := client.Get([]string{"1.3.6.1.2.1.1.3.0"})
		require.NoError(t, err)
		require.Equal(t, gosnmp.GetResponse, reply.PDUType)
		return reply.SecurityParameters.(*gosnmp.UsmSecurityParameters).AuthoritativeEngineBoots
	}
	first := get()
	source.upTime(20000)
	require.Equal(t, first, get(), "uptime went on")
	source.upTime(50)
	require.Equal(t, first+1, get(), "uptime fell: a restart")
	source.upTime(math.MaxUint32 - 100)
	require.Equal(t, first+1, get())
	source.upTime(100)
	require.Equal(t, first+1, get(), "uptime wrapped after 497 days")
}

// Boots rise from one run of the program to the next: they begin with the
// seconds since 2020 (1577836800 as a Unix time).
func TestFirstBoots(t *testing.T) {
	l := newLine(t, rackUnit())
	reply, err := dial(t, l.port, nil).Get([]string{"1.3.6.1.2.1.1.3.0"})
	require.NoError(t, err)
	boots := reply.SecurityParameters.(*gosnmp.UsmSecurityParameters).AuthoritativeEngineBoots
	require.InDelta(t, time.Now().Unix()-1577836800, boots, 60)
}

// RFC 3414 section 2.2.2: at 2147483647 boots nothing is in the window.
func TestBootsLatch(t *testing.T) {
	l := newLine(t, rackUnit())
	l.restamp(math.MaxInt32)
	client := dial(t, l.port, nil)
	reply, err := client.Get([]string{"1.3.6.1.2.1.1.3.0"})
	if err == nil {
		require.Equal(t, gosnmp.Report, reply.PDUType)
	}
	name, _ := report(t, l.send(l.last()))
	require.Equal(t, notInTimeWindows, name)
}

func TestReports(t *testing.T) {
	l := newLine(t, rackUnit())
	_, err := dial(t, l.port, nil).Get([]string{"1.3.6.1.2.1.1.5.0"})
	require.NoError(t, err)
	discovery, request := l.first(), l.last()

	name, first := report(t, l.send(discovery))
	require.Equal(t, unknownEngineIDs, name)
	_, second := report(t, l.send(discovery))
	require.Equal(t, first+1, second, "a counter counts")

	tampered := append([]byte(nil), request...)
	tampered[len(tampered)-1] ^= 1
	name, _ = report(t, l.send(tampered))
	require.Equal(t, wrongDigests, name)

	name, _ = report(t, l.send(request))
	require.Empty(t, name, "the same octets untouched are answered")
}

// A request for the objects of another engine: RFC 3413 section 3.2.
func TestUnknownHandler(t *testing.T) {
	l := newLine(t, rackUnit())
	client := dial(t, l.port, nil)
	_, err := client.Get([]string{"1.3.6.1.2.1.1.5.0"})
	require.NoError(t, err)
	client.ContextEngineID = "another engine"
	reply, err := client.Get([]string{"1.3.6.1.2.1.1.5.0"})
	if err == nil {
		require.Equal(t, gosnmp.Report, reply.PDUType)
	}
	name, _ := report(t, l.send(l.last()))
	require.Equal(t, unknownPDUHandlers, name)
}

func TestCiphers(t *testing.T) {
	auths := map[string]gosnmp.SnmpV3AuthProtocol{"md5": gosnmp.MD5, "sha1": gosnmp.SHA, "sha224": gosnmp.SHA224,
		"sha256": gosnmp.SHA256, "sha384": gosnmp.SHA384, "sha512": gosnmp.SHA512}
	privs := map[string]gosnmp.SnmpV3PrivProtocol{"aes128": gosnmp.AES, "aes192-blumenthal": gosnmp.AES192,
		"aes256-blumenthal": gosnmp.AES256, "aes192-reeder": gosnmp.AES192C, "aes256-reeder": gosnmp.AES256C}
	c := config(rackUnit(), "nq-room")
	c.Users = nil
	for auth := range auths {
		for priv := range privs {
			u := users()[2]
			u.Name, u.Auth, u.Privacy = auth+"-"+priv, auth, priv
			c.Users = append(c.Users, u)
		}
	}
	port := portOf(t, start(t, c).Addr("nq-room"))
	for _, u := range c.Users {
		t.Run(u.Name, func(t *testing.T) {
			client := dial(t, port, func(_ *gosnmp.GoSNMP, usm *gosnmp.UsmSecurityParameters) {
				usm.UserName, usm.AuthenticationProtocol, usm.PrivacyProtocol = u.Name, auths[u.Auth], privs[u.Privacy]
			})
			reply, err := client.Get([]string{"1.3.6.1.2.1.1.5.0"})
			require.NoError(t, err)
			require.Equal(t, gosnmp.GetResponse, reply.PDUType)
			require.Equal(t, []byte("nq-room"), reply.Variables[0].Value)
		})
	}
}
