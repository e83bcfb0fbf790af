package snmp_test

import (
	"context"
	"net"
	"net/netip"
	"os/exec"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"
	"go.uber.org/zap/zaptest"

	"lightwell/collector/need"
	"lightwell/collector/snmp"
)

// listen runs a Listener that knows 127.0.0.1 as two units, and returns where
// it hears and what it asks for.
func listen(t *testing.T) (addr string, polled chan string) {
	t.Helper()
	polled = make(chan string, 100)
	known := func(a netip.Addr) []string {
		if a == netip.MustParseAddr("127.0.0.1") {
			return []string{"room-1", "roof-1"}
		}
		return nil
	}
	l, err := snmp.NewListener("127.0.0.1:0", known, func(unit string) bool { polled <- unit; return true }, zaptest.NewLogger(t))
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- l.Run(ctx) }()
	t.Cleanup(func() { cancel(); require.NoError(t, <-done) })
	return l.Addr().String(), polled
}

func next(t *testing.T, polled chan string) string {
	t.Helper()
	select {
	case unit := <-polled:
		return unit
	case <-time.After(5 * time.Second):
		require.FailNow(t, "nothing was asked for")
		return ""
	}
}

func sendFrom(t *testing.T, from, to string, datagrams ...[]byte) *net.UDPConn {
	t.Helper()
	c, err := net.DialUDP("udp4", &net.UDPAddr{IP: net.ParseIP(from)}, net.UDPAddrFromAddrPort(netip.MustParseAddrPort(to)))
	require.NoError(t, err)
	t.Cleanup(func() { c.Close() })
	for _, d := range datagrams {
		_, err = c.Write(d)
		require.NoError(t, err)
	}
	return c
}

func trap(t *testing.T, kind gosnmp.PDUType) []byte {
	return marshal(t, &gosnmp.SnmpPacket{Version: gosnmp.Version2c, Community: "any", PDUType: kind, RequestID: 9, Variables: []gosnmp.SnmpPDU{
		{Name: ".1.3.6.1.2.1.1.3.0", Type: gosnmp.TimeTicks, Value: uint32(1)},
		{Name: ".1.3.6.1.6.3.1.1.4.1.0", Type: gosnmp.ObjectIdentifier, Value: ".1.3.6.1.6.3.1.1.5.1"}}}) // coldStart, RFC 3418
}

func TestTrapAsksForAPollOnce(t *testing.T) {
	addr, polled := listen(t)
	junk := [][]byte{nil, {0x30, 5, 2, 1, 3, 0x30, 0}, []byte("junk"), trap(t, gosnmp.GetRequest), trap(t, gosnmp.GetResponse), trap(t, gosnmp.SNMPv2Trap)[:20]}
	sendFrom(t, "127.0.0.2", addr, trap(t, gosnmp.SNMPv2Trap)) // a stranger
	c := sendFrom(t, "127.0.0.1", addr, append(junk, trap(t, gosnmp.SNMPv2Trap), trap(t, gosnmp.SNMPv2Trap), trap(t, gosnmp.InformRequest))...)
	require.Equal(t, "room-1", next(t, polled))
	require.Equal(t, "roof-1", next(t, polled))

	buf := make([]byte, 1500)
	require.NoError(t, c.SetReadDeadline(time.Now().Add(5*time.Second)))
	n, err := c.Read(buf)
	require.NoError(t, err, "the inform is answered, and after all traps before it")
	want := trap(t, gosnmp.GetResponse)
	require.Equal(t, want, buf[:n])
	require.Empty(t, polled, "one trap asks, those shortly after it do not")
}

func TestTrapsOfRealSenders(t *testing.T) {
	program := need.Program(t, "snmptrap")
	v3 := []string{"-v3", "-e", "0x80007ed905726f6f66", "-u", "reader", "-l", "authPriv", "-a", "SHA-256", "-A", authPassword, "-x", "AES", "-X", privacyPassword}
	for name, args := range map[string][]string{
		"v1":  {"-v1", "-c", "any", "ADDR", "1.3.6.1.4.1.32473", "127.0.0.1", "6", "7", "100"},
		"v2c": {"-v2c", "-c", "any", "ADDR", "100", "1.3.6.1.6.3.1.1.5.1"},
		"v3":  append(v3, "ADDR", "100", "1.3.6.1.6.3.1.1.5.1"),
	} {
		t.Run(name, func(t *testing.T) {
			addr, polled := listen(t)
			for i := range args {
				if args[i] == "ADDR" {
					args[i] = addr
				}
			}
			cmd := exec.Command(program, args...)
			cmd.Env = []string{"MIBS=", "SNMP_PERSISTENT_DIR=" + t.TempDir(), "SNMPCONFPATH=" + t.TempDir()}
			out, err := cmd.CombinedOutput()
			require.NoError(t, err, "%s", out)
			require.Equal(t, "room-1", next(t, polled))
		})
	}
}

func TestListenerRefusesATakenPort(t *testing.T) {
	addr, _ := listen(t)
	_, err := snmp.NewListener(addr, nil, nil, zaptest.NewLogger(t))
	require.ErrorContains(t, err, addr)
	_, err = snmp.NewListener("nowhere", nil, nil, zaptest.NewLogger(t))
	require.Error(t, err)
}
