package notify_test

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"testing"
	"time"

	cloudevents "github.com/cloudevents/sdk-go/v2/event"
	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/notify"
)

// The two sides of this package against each other, over a socket, with an
// asymmetric key.
func TestReceiverGetsWhatDispatcherSends(t *testing.T) {
	private := privateSecret(3)
	public, err := notify.PublicKey(secrets(private)[0])
	require.NoError(t, err)
	var mu sync.Mutex
	var events []cloudevents.Event
	r, err := notify.NewReceiver(secrets(public), func(e cloudevents.Event) {
		mu.Lock()
		defer mu.Unlock()
		events = append(events, e)
	})
	require.NoError(t, err)
	s := httptest.NewServer(r)
	t.Cleanup(s.Close)
	e := at(s.URL)
	e.Secrets = secrets(private)
	d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}})
	require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major), change(2, "a", alarms.ClearedChange, alarms.Major)}))
	eventually(t, d, "delivered", func(s notify.Stats) bool { return s.Delivered == 2 })
	mu.Lock()
	defer mu.Unlock()
	require.Len(t, events, 2)
	require.Equal(t, raisedType, events[0].Type())
	require.Equal(t, clearedType, events[1].Type())
	var a notify.Alarm
	require.NoError(t, events[1].DataAs(&a))
	require.True(t, a.Cleared)
	require.Equal(t, "unit/a", a.Resource)
}

func TestReceiverRefuses(t *testing.T) {
	c := cableCut()
	m := notify.AlarmMessage("/lightwell/quay", &c)
	body, err := notify.Encode(&m)
	require.NoError(t, err)
	signer, err := notify.NewSigner(secrets(secret))
	require.NoError(t, err)
	calls := 0
	r, err := notify.NewReceiver(secrets(secret), func(cloudevents.Event) { calls++ })
	require.NoError(t, err)
	send := func(change func(*http.Request), body string, at time.Time) int {
		req := httptest.NewRequest(http.MethodPost, "/", strings.NewReader(body))
		signature, err := signer.Sign(m.ID, at, []byte(body))
		require.NoError(t, err)
		req.Header = headers(m.ID, at.Unix(), signature)
		req.Header.Set("Content-Type", "application/cloudevents+json; charset=utf-8")
		change(req)
		w := httptest.NewRecorder()
		r.ServeHTTP(w, req)
		return w.Code
	}
	same := func(*http.Request) {}
	now := time.Now()
	require.Equal(t, 405, send(func(r *http.Request) { r.Method = http.MethodGet }, string(body), now))
	require.Equal(t, 401, send(func(r *http.Request) { r.Header.Set("webhook-signature", "v1,AAAA") }, string(body), now))
	require.Equal(t, 401, send(same, string(body), now.Add(-notify.Tolerance-2*time.Second)))
	require.Equal(t, 413, send(same, strings.Repeat("x", 70<<10), now))
	require.Equal(t, 415, send(func(r *http.Request) { r.Header.Set("Content-Type", "text/plain") }, string(body), now))
	require.Equal(t, 415, send(same, "{}", now))
	require.Equal(t, 415, send(same, "[", now))
	require.Zero(t, calls)
	require.Equal(t, 204, send(same, string(body), now))
	require.Equal(t, 204, send(same, string(body), now.Add(time.Second)), "a repeated delivery is accepted")
	require.Equal(t, 1, calls, "and handed on once")
	_, err = notify.NewReceiver(nil, nil)
	require.Error(t, err)
}

func FuzzReceiver(f *testing.F) {
	c := cableCut()
	m := notify.AlarmMessage("/lightwell/quay", &c)
	body, err := notify.Encode(&m)
	require.NoError(f, err)
	f.Add(string(body), "application/cloudevents+json")
	f.Add("{}", "application/cloudevents+json")
	f.Add("", "")
	signer, err := notify.NewSigner(secrets(secret))
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, body, contentType string) {
		r, err := notify.NewReceiver(secrets(secret), func(e cloudevents.Event) {
			if err := e.Validate(); err != nil {
				t.Fatal(err)
			}
		})
		require.NoError(t, err)
		now := time.Now()
		signature, err := signer.Sign("evt", now, []byte(body))
		require.NoError(t, err)
		req := httptest.NewRequest(http.MethodPost, "/", strings.NewReader(body))
		req.Header = headers("evt", now.Unix(), signature)
		req.Header.Set("Content-Type", contentType)
		w := httptest.NewRecorder()
		r.ServeHTTP(w, req)
		if w.Code != 204 && w.Code != 413 && w.Code != 415 {
			t.Fatalf("answered %d", w.Code)
		}
	})
}
