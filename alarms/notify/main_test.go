package notify_test

import (
	"bytes"
	"context"
	"flag"
	"fmt"
	"io"
	"net/http"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lightwell/alarms"
	"lightwell/alarms/notify"
	"lightwell/collector"
)

var update = flag.Bool("update", false, "rewrite golden files")

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// secret is that of vector 30 of the signature tests.
const secret = "whsec_AAECAwQFBgcICQoLDA0ODxAREhMUFRYXGBkaGxwdHh8="

func secrets(s ...string) []collector.Secret {
	var out []collector.Secret
	for _, v := range s {
		out = append(out, collector.NewSecret(v))
	}
	return out
}

func endpoint() notify.Endpoint {
	return notify.Endpoint{Name: "noc", URL: collector.NewSecret("https://noc.example/hook/path-token"), Secrets: secrets(secret)}
}

// change makes a change of an alarm; seq numbers it and makes it unique.
func change(seq uint64, alarm string, kind alarms.ChangeKind, severity alarms.Severity) alarms.Change {
	at := time.Date(2026, 3, 1, 12, 0, int(seq), 0, time.UTC)
	a := alarms.Alarm{
		Key: alarms.Key{Resource: "unit/" + alarm, Type: "supply-failed"}, ID: alarm, Site: "north-quay",
		Severity: severity, Cleared: kind == alarms.ClearedChange, Text: "supply b failed: replace it",
		Cause: alarms.Cause{Name: "powerSupplyFailure", Number: 78}, EventType: alarms.EquipmentAlarm,
		Created: at, LastRaised: at, LastChanged: at, Operator: alarms.OperatorNone, Announced: kind != alarms.ClearedChange,
	}
	return alarms.Change{Seq: seq, Time: at, Kind: kind, Alarm: a, Notify: true}
}

// request is what a fake receiver got.
type request struct {
	at     time.Time
	id     string
	header http.Header
	body   []byte
}

// receiver is an http.RoundTripper: a receiver without a socket, for use in
// synctest bubbles. It checks every signature.
type receiver struct {
	t        *testing.T
	answer   func(n int, r request) (*http.Response, error) // n counts from 1; nil: always 204
	verifier *notify.Verifier

	mu       sync.Mutex
	requests []request
}

func newReceiver(t *testing.T, answer func(n int, r request) (*http.Response, error)) *receiver {
	v, err := notify.NewVerifier(secrets(secret))
	require.NoError(t, err)
	return &receiver{t: t, answer: answer, verifier: v}
}

func (f *receiver) RoundTrip(req *http.Request) (*http.Response, error) {
	body, err := io.ReadAll(req.Body)
	if err != nil {
		return nil, err
	}
	if err := f.verifier.Verify(body, req.Header, time.Now()); err != nil {
		f.t.Errorf("signature of %s: %v", req.Header.Get("webhook-id"), err)
	}
	r := request{time.Now(), req.Header.Get("webhook-id"), req.Header, body}
	f.mu.Lock()
	f.requests = append(f.requests, r)
	n := len(f.requests)
	f.mu.Unlock()
	if f.answer == nil {
		return answer(http.StatusNoContent), nil
	}
	return f.answer(n, r)
}

func (f *receiver) got() []request {
	f.mu.Lock()
	defer f.mu.Unlock()
	return append([]request(nil), f.requests...)
}

// answer makes a response; headers come in pairs.
func answer(status int, headers ...string) *http.Response {
	h := http.Header{}
	for i := 0; i+1 < len(headers); i += 2 {
		h.Set(headers[i], headers[i+1])
	}
	return &http.Response{StatusCode: status, Header: h, Body: io.NopCloser(bytes.NewReader([]byte("said the receiver")))}
}

// start runs a dispatcher until the test ends.
func start(t *testing.T, cfg notify.Config) *notify.Dispatcher {
	t.Helper()
	cfg.Source = "/lightwell/test"
	d, err := notify.New(cfg)
	require.NoError(t, err)
	ctx, stop := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() { done <- d.Run(ctx) }()
	t.Cleanup(func() {
		stop()
		require.NoError(t, <-done)
	})
	return d
}

// offsets returns when requests came, after the first of them.
func offsets(rs []request) []string {
	var out []string
	for _, r := range rs {
		out = append(out, fmt.Sprint(r.at.Sub(rs[0].at).Round(time.Second)))
	}
	return out
}
