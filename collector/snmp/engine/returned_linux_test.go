package engine_test

import (
	"net"
	"net/netip"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/snmp/engine"
)

// closed is a port at which nobody listens.
func closed(t *testing.T, host string) netip.AddrPort {
	t.Helper()
	conn, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.ParseIP(host)})
	if err != nil {
		t.Skipf("no address %s here: %v", host, err)
	}
	at := conn.LocalAddr().(*net.UDPAddr).AddrPort()
	require.NoError(t, conn.Close())
	return at
}

func TestClosedPortEndsAtOnce(t *testing.T) {
	for _, host := range []string{"127.0.0.1", "::1"} {
		t.Run(host, func(t *testing.T) {
			e := start(t, engine.Config{Timeout: time.Hour, Tries: 3, Window: 8, Silent: 1})
			d := &talk{}
			err := ask(t, e, closed(t, host), d)
			require.ErrorIs(t, err, engine.ErrSilent)
			require.ErrorIs(t, err, syscall.ECONNREFUSED)
			require.EqualValues(t, 3, d.sent.Load())
			require.EqualValues(t, 3, e.Stats().Undelivered)
		})
	}
}

// TestOthersErrorsDoNotTouchTheHealthy: what the network says of one message
// makes later system calls fail; the messages of these calls still arrive.
func TestOthersErrorsDoNotTouchTheHealthy(t *testing.T) {
	e := start(t, engine.Config{Timeout: time.Second, Tries: 5, Window: 64, Silent: 1})
	dead, healthy := closed(t, "127.0.0.1"), peer(t, echo)
	const each = 300
	bad, good := make(chan error, each), make(chan error, each)
	for range each {
		require.NoError(t, e.Ask(&engine.Question{To: dead, Dialect: &talk{}, Done: func(_ *engine.Question, err error) { bad <- err }}))
		require.NoError(t, e.Ask(&engine.Question{To: healthy, Dialect: &talk{}, Done: func(_ *engine.Question, err error) { good <- err }}))
	}
	for range each {
		require.NoError(t, <-good)
		require.ErrorIs(t, <-bad, syscall.ECONNREFUSED)
	}
}

func TestWhatCannotBeSentIsTold(t *testing.T) {
	e := start(t, engine.Config{Timeout: time.Hour, Tries: 2, Window: 8, Silent: 1})
	err := ask(t, e, netip.MustParseAddrPort("127.0.0.1:0"), &talk{})
	require.ErrorIs(t, err, syscall.EINVAL)
}
