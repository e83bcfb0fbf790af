package notify_test

import (
	"context"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"go.uber.org/zap/zaptest/observer"

	"lightwell/alarms"
	"lightwell/alarms/notify"
	"lightwell/collector"
)

// tlsServer starts a receiver with TLS on loopback and returns the pool that
// trusts it.
func tlsServer(t *testing.T, h http.HandlerFunc) (*httptest.Server, *x509.CertPool) {
	t.Helper()
	s := httptest.NewUnstartedServer(h)
	s.Config.ErrorLog = zap.NewStdLog(zap.NewNop())
	s.StartTLS()
	t.Cleanup(s.Close)
	pool := x509.NewCertPool()
	require.True(t, pool.AppendCertsFromPEM(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: s.Certificate().Raw})))
	return s, pool
}

func at(url string) notify.Endpoint {
	e := endpoint()
	e.URL = collector.NewSecret(url)
	return e
}

// eventually waits until the figures of the only endpoint fulfil a condition.
func eventually(t *testing.T, d *notify.Dispatcher, what string, ok func(notify.Stats) bool) notify.Stats {
	t.Helper()
	require.Eventually(t, func() bool { return ok(d.Stats()[0]) }, 10*time.Second, time.Millisecond, what)
	return d.Stats()[0]
}

func raise(t *testing.T, d *notify.Dispatcher) {
	t.Helper()
	require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
}

// The limit the program states: an alarm is at the receiver below 1 s after
// the change, over TLS and with a new connection.
func TestAlarmToWebhookOverTLS(t *testing.T) {
	arrived := make(chan time.Time, 1)
	s, pool := tlsServer(t, func(http.ResponseWriter, *http.Request) { arrived <- time.Now() })
	d := start(t, notify.Config{Endpoints: []notify.Endpoint{at(s.URL)}, RootCAs: pool})
	began := time.Now()
	raise(t, d)
	took := (<-arrived).Sub(began)
	t.Logf("alarm to webhook: %s", took)
	require.Less(t, took, time.Second)
	eventually(t, d, "delivered", func(s notify.Stats) bool { return s.Delivered == 1 })
}

func TestUnknownCertificateIsRefused(t *testing.T) {
	var called atomic.Bool
	s, _ := tlsServer(t, func(http.ResponseWriter, *http.Request) { called.Store(true) })
	d := start(t, notify.Config{Endpoints: []notify.Endpoint{at(s.URL)}})
	raise(t, d)
	got := eventually(t, d, "failed", func(s notify.Stats) bool { return s.Failures == 1 })
	require.Contains(t, got.LastError, "certificate")
	require.False(t, called.Load())
}

func TestRedirectIsNotFollowed(t *testing.T) {
	var called atomic.Bool
	target, _ := tlsServer(t, func(http.ResponseWriter, *http.Request) { called.Store(true) })
	s, pool := tlsServer(t, func(w http.ResponseWriter, r *http.Request) {
		http.Redirect(w, r, target.URL, http.StatusTemporaryRedirect)
	})
	d := start(t, notify.Config{Endpoints: []notify.Endpoint{at(s.URL)}, RootCAs: pool})
	raise(t, d)
	got := eventually(t, d, "failed", func(s notify.Stats) bool { return s.Failures == 1 })
	require.Equal(t, "answered 307 Temporary Redirect (redirects are not followed)", got.LastError)
	require.Equal(t, 1, got.Pending)
	require.False(t, called.Load())
}

// Receivers that break off, or answer nonsense, count as failed; one that
// said 2xx has the message, whatever its body does afterwards.
func TestHostileAnswers(t *testing.T) {
	for _, tt := range []struct {
		name    string
		answer  string // raw bytes; the connection is closed after them
		success bool
	}{
		{"closes at once", "", false},
		{"not HTTP", "SSH-2.0-x\r\n\r\n", false},
		{"header breaks off", "HTTP/1.1 200 OK\r\nContent-Le", false},
		{"endless header", "HTTP/1.1 200 OK\r\nX: " + strings.Repeat("x", 1<<20), false},
		{"body breaks off", "HTTP/1.1 200 OK\r\nContent-Length: 1000\r\n\r\nabc", true},
		{"huge body", "HTTP/1.1 200 OK\r\nContent-Length: 4000000\r\n\r\n" + strings.Repeat("x", 4_000_000), true},
		{"refuses with a huge body", "HTTP/1.1 500 No\r\nContent-Length: 4000000\r\n\r\n" + strings.Repeat("x", 4_000_000), false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			url := rawServer(t, tt.answer)
			d := start(t, notify.Config{Endpoints: []notify.Endpoint{at(url)}})
			raise(t, d)
			got := eventually(t, d, "settled", func(s notify.Stats) bool { return s.Attempts == 1 })
			require.Equal(t, tt.success, got.Delivered == 1, got.LastError)
			require.Less(t, len(got.LastError), 400)
		})
	}
}

// rawServer answers each request with the same bytes and hangs up.
func rawServer(t *testing.T, answer string) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			_, _ = io.ReadFull(c, make([]byte, 64)) // some of the request
			_, _ = io.WriteString(c, answer)
			_ = c.Close()
		}
	}()
	t.Cleanup(func() {
		_ = l.Close()
		<-done
	})
	return "http://" + l.Addr().String()
}

// A receiver that sends its answer's body slowly does not hold up Run's end
// beyond the grace, and what it accepted stays accepted.
func TestSlowBodyAndPromptStop(t *testing.T) {
	t.Parallel()
	release := make(chan struct{})
	entered := make(chan struct{}, 1)
	s, pool := tlsServer(t, func(w http.ResponseWriter, r *http.Request) {
		w.WriteHeader(http.StatusOK)
		w.(http.Flusher).Flush()
		entered <- struct{}{}
		select {
		case <-release:
		case <-r.Context().Done():
		}
	})
	defer close(release)
	d, err := notify.New(notify.Config{Source: "/x", Endpoints: []notify.Endpoint{at(s.URL)}, RootCAs: pool})
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	raise(t, d)
	<-entered
	stop()
	select {
	case err := <-done:
		require.NoError(t, err)
	case <-time.After(notify.StopGrace + 3*time.Second):
		t.Fatal("Run does not end")
	}
}

func TestRefusedAddresses(t *testing.T) {
	for _, tt := range []struct {
		address string
		want    bool
	}{
		{"169.254.169.254", true}, // metadata
		{"169.254.0.1", true},     // RFC 3927
		{"fe80::1", true},         // RFC 4291
		{"fe80::1%eth0", true},
		{"::ffff:169.254.169.254", true}, // mapped, RFC 4291
		{"64:ff9b::a9fe:a9fe", true},     // NAT64, RFC 6052
		{"64:ff9b::c000:20a", false},     // NAT64 of 192.0.2.10
		{"0.0.0.0", true},
		{"::", true},
		{"224.0.0.1", true},
		{"ff02::1", true},
		{"255.255.255.255", true},
		{"fd00:ec2::254", true},
		{"100.100.100.200", true},
		{"127.0.0.1", false},
		{"::1", false},
		{"10.1.2.3", false},
		{"192.168.1.1", false},
		{"fd12::1", false},
		{"192.0.2.1", false},
		{"2001:db8::1", false},
	} {
		require.Equal(t, tt.want, notify.Refused(netip.MustParseAddr(tt.address)), tt.address)
	}
	require.True(t, notify.Refused(netip.Addr{}))
}

// The check is made on what the name resolved to, at the connection.
func TestLinkLocalIsRefusedAtDial(t *testing.T) {
	e := at("https://169.254.169.254/latest/path-token")
	core, logs := observer.New(zapcore.DebugLevel)
	d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Log: zap.New(core)})
	raise(t, d)
	got := eventually(t, d, "failed", func(s notify.Stats) bool { return s.Failures == 1 })
	require.Contains(t, got.LastError, notify.ErrAddress.Error())
	require.Contains(t, got.LastError, "allow")
	require.NotContains(t, got.LastError, "path-token")
	require.Eventually(t, func() bool { return logs.Len() > 0 }, 10*time.Second, time.Millisecond)
	for _, l := range logs.All() {
		for _, v := range l.ContextMap() {
			require.NotContains(t, fmt.Sprint(v), "path-token")
		}
	}
}

func TestAllowByName(t *testing.T) {
	s, _ := tlsServer(t, func(http.ResponseWriter, *http.Request) {})
	host := strings.TrimPrefix(s.URL, "https://")
	for _, tt := range []struct {
		name    string
		allow   []string
		refused bool
	}{
		{"not allowed", nil, true},
		{"another allowed", []string{"other.example"}, true},
		{"allowed", []string{"0.0.0.0"}, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			_, port, err := net.SplitHostPort(host)
			require.NoError(t, err)
			e := at("https://0.0.0.0:" + port) // reaches this machine, and is refused for its form
			e.Allow = tt.allow
			d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}})
			raise(t, d)
			got := eventually(t, d, "failed", func(s notify.Stats) bool { return s.Failures == 1 })
			if tt.refused {
				require.Contains(t, got.LastError, notify.ErrAddress.Error())
			} else {
				require.Contains(t, got.LastError, "certificate", "it got as far as TLS")
			}
		})
	}
}
