package notify_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	cloudevents "github.com/cloudevents/sdk-go/v2/event"
	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/notify"
	"lightwell/collector"
)

func TestDeliveredAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newReceiver(t, nil)
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{endpoint()}, Via: f})
		began := time.Now()
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		got := f.got()
		require.Len(t, got, 1)
		require.Zero(t, got[0].at.Sub(began), "no timer stands between alarm and webhook")
		require.Equal(t, "application/cloudevents+json; charset=utf-8", got[0].header.Get("Content-Type"))
		s := d.Stats()[0]
		require.Equal(t, notify.Stats{
			Endpoint: "noc", State: notify.Active, Attempts: 1, Delivered: 1, LastSuccess: began,
		}, s)
	})
}

// A receiver that never answers well gets ten attempts on the schedule of
// Standard Webhooks 1.0.0, each up to a tenth later, all with one id and one
// body; after that the message is dead.
func TestRetriesUntilGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newReceiver(t, func(int, request) (*http.Response, error) { return answer(http.StatusInternalServerError), nil })
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{endpoint()}, Via: f})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		<-time.After(96 * time.Hour)
		synctest.Wait()
		got := f.got()
		require.Len(t, got, notify.Attempts)
		for i := 1; i < len(got); i++ {
			wait, _ := notify.RetryDelay(i)
			gap := got[i].at.Sub(got[i-1].at)
			require.GreaterOrEqual(t, gap, wait)
			require.LessOrEqual(t, gap, wait+wait/10)
			require.Equal(t, got[0].id, got[i].id)
			require.Equal(t, got[0].body, got[i].body)
			require.NotEqual(t, got[0].header.Get("webhook-timestamp"), got[i].header.Get("webhook-timestamp"))
		}
		s := d.Stats()[0]
		require.Equal(t, notify.Failing, s.State)
		require.EqualValues(t, 10, s.Failures)
		require.EqualValues(t, 1, s.GivenUp)
		require.Equal(t, 1, s.Dead)
		require.Zero(t, s.Pending)
		require.Equal(t, "answered 500 Internal Server Error: said the receiver", s.LastError)
	})
}

func TestJudge(t *testing.T) {
	at := func(s int) time.Time { return noon.Add(time.Duration(s) * time.Second) }
	for _, tt := range []struct {
		status     int
		retryAfter string
		outcome    string
		throttle   bool
		notBefore  time.Time
	}{
		{200, "", "delivered", false, time.Time{}},
		{201, "", "delivered", false, time.Time{}},
		{202, "", "delivered", false, time.Time{}},
		{204, "60", "delivered", false, time.Time{}},
		{299, "", "delivered", false, time.Time{}},
		{301, "", "failed", false, time.Time{}},
		{308, "", "failed", false, time.Time{}},
		{400, "", "refused", false, time.Time{}},
		{401, "", "refused", false, time.Time{}},
		{404, "", "refused", false, time.Time{}},
		{408, "", "failed", false, time.Time{}},
		{410, "", "gone", false, time.Time{}},
		{415, "", "refused", false, time.Time{}},
		{429, "120", "failed", true, at(120)},
		{429, "1.5", "failed", true, time.Time{}},
		{500, "7", "failed", false, at(7)},
		{502, "", "failed", true, time.Time{}},
		{503, "Sun, 01 Mar 2026 12:01:00 GMT", "failed", true, at(60)},
		{504, "", "failed", true, time.Time{}},
		{505, "", "failed", false, time.Time{}},
		{599, "", "failed", false, time.Time{}},
	} {
		outcome, reason, throttle, notBefore := notify.Judge(tt.status, tt.retryAfter, "", noon)
		require.Equal(t, tt.outcome, outcome, tt.status)
		require.Equal(t, tt.throttle, throttle, tt.status)
		require.True(t, tt.notBefore.Equal(notBefore), tt.status)
		require.Equal(t, outcome == "delivered", reason == "", tt.status)
	}
	_, reason, _, _ := notify.Judge(400, "", "\x1b[31mno\r\nsuch\xff  field\x00", noon)
	require.Equal(t, "answered 400 Bad Request: [31mno such field", reason, "no control characters reach a terminal")
}

func TestFinalRefusalIsDeadAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newReceiver(t, func(n int, _ request) (*http.Response, error) {
			if n == 1 {
				return answer(http.StatusBadRequest), nil
			}
			return answer(http.StatusOK), nil
		})
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{endpoint()}, Via: f})
		require.NoError(t, d.Publish([]alarms.Change{
			change(1, "a", alarms.Raised, alarms.Major), change(2, "a", alarms.ClearedChange, alarms.Major),
		}))
		synctest.Wait()
		got := f.got()
		require.Len(t, got, 2, "the next change of the alarm goes on")
		list, err := d.Entries("noc")
		require.NoError(t, err)
		require.Len(t, list, 1)
		require.Equal(t, notify.Dead, list[0].State)
		n, err := d.Resend("noc")
		require.NoError(t, err)
		require.Equal(t, 1, n)
		synctest.Wait()
		got = f.got()
		require.Len(t, got, 3)
		require.Equal(t, got[0].id, got[2].id, "sent again under its old id")
		require.Zero(t, d.Stats()[0].Dead)
		_, err = d.Resend("nobody")
		require.ErrorIs(t, err, notify.ErrNoEndpoint)
	})
}

func TestDropForgetsWhatIsDead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newReceiver(t, func(n int, _ request) (*http.Response, error) {
			return answer(map[bool]int{true: http.StatusBadRequest, false: http.StatusInternalServerError}[n <= 2]), nil
		})
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{endpoint()}, Via: f})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		require.NoError(t, d.Publish([]alarms.Change{change(2, "b", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		require.NoError(t, d.Publish([]alarms.Change{change(3, "c", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		list, err := d.Entries("noc")
		require.NoError(t, err)
		require.Len(t, list, 3)
		n, err := d.Drop("noc", list[1].ID, list[2].ID)
		require.NoError(t, err)
		require.Equal(t, 1, n, "what waits is not dropped")
		n, err = d.Drop("noc")
		require.NoError(t, err)
		require.Equal(t, 1, n)
		require.Equal(t, [2]int{0, 1}, [2]int{d.Stats()[0].Dead, d.Stats()[0].Pending})
		_, err = d.Drop("nobody")
		require.ErrorIs(t, err, notify.ErrNoEndpoint)
	})
}

// 429: the whole endpoint is left alone for as long as it asked.
func TestRetryAfterPausesEndpoint(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newReceiver(t, func(n int, _ request) (*http.Response, error) {
			if n == 1 {
				return answer(http.StatusTooManyRequests, "Retry-After", "120"), nil
			}
			return answer(http.StatusOK), nil
		})
		e := endpoint()
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: f})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		require.Equal(t, 120*time.Second, time.Until(d.Stats()[0].PausedUntil))
		<-time.After(30 * time.Second)
		require.NoError(t, d.Publish([]alarms.Change{change(2, "b", alarms.Raised, alarms.Major)}))
		<-time.After(time.Minute)
		synctest.Wait()
		require.Len(t, f.got(), 1, "another alarm waits too")
		<-time.After(31 * time.Second)
		synctest.Wait()
		require.Equal(t, []string{"0s", "2m0s", "2m0s"}, offsets(f.got()))
		require.True(t, d.Stats()[0].PausedUntil.IsZero())
	})
}

func TestGoneStopsEndpoint(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		status := http.StatusGone
		f := newReceiver(t, func(int, request) (*http.Response, error) { return answer(status), nil })
		e := endpoint()
		e.Heartbeat = time.Minute
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: f})
		synctest.Wait()
		require.Len(t, f.got(), 1)
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		<-time.After(time.Hour)
		synctest.Wait()
		require.Len(t, f.got(), 1, "nothing more is sent")
		s := d.Stats()[0]
		require.Equal(t, notify.Stopped, s.State)
		require.Equal(t, 1, s.Pending, "what came after is kept and visible")
		require.NoError(t, d.SetEndpoints([]notify.Endpoint{e}))
		synctest.Wait()
		require.Equal(t, notify.Stopped, d.Stats()[0].State, "a reload without a change does not start it")

		status = http.StatusOK
		require.NoError(t, d.Resume("noc"))
		synctest.Wait()
		s = d.Stats()[0]
		require.Equal(t, notify.Active, s.State)
		require.Zero(t, s.Pending)
		require.Len(t, f.got(), 3, "the message and a heartbeat")
		require.ErrorIs(t, d.Resume("nobody"), notify.ErrNoEndpoint)
	})
}

// Order per alarm, no gap and no doubles in flight, under random failures.
func TestOrderUnderRandomFailures(t *testing.T) {
	for seed := range uint64(8) {
		t.Run(fmt.Sprint(seed), func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) { orderUnderRandomFailures(t, seed) })
		})
	}
}

func orderUnderRandomFailures(t *testing.T, seed uint64) {
	const nAlarms, nChanges = 7, 20
	rnd, gaps := rand.New(rand.NewPCG(seed, 1)), rand.New(rand.NewPCG(seed, 2))
	type accepted struct{ alarm, sequence string }
	var order []accepted
	f := newReceiver(t, nil)
	bad := 0
	f.answer = func(_ int, r request) (*http.Response, error) {
		var e cloudevents.Event
		require.NoError(t, json.Unmarshal(r.body, &e))
		f.mu.Lock()
		defer f.mu.Unlock()
		switch p := rnd.Float64(); {
		case p < 0.15:
			bad++
			return nil, errors.New("connection reset")
		case p < 0.25:
			bad++
			return answer(http.StatusInternalServerError), nil
		case p < 0.3:
			bad++
			return answer(http.StatusServiceUnavailable, "Retry-After", "3"), nil
		}
		order = append(order, accepted{e.Subject(), e.Extensions()["sequence"].(string)})
		return answer(http.StatusOK), nil
	}
	d := start(t, notify.Config{Endpoints: []notify.Endpoint{endpoint()}, Via: f})
	seq := uint64(0)
	for range nChanges {
		for a := range nAlarms {
			seq++
			require.NoError(t, d.Publish([]alarms.Change{change(seq, fmt.Sprint("a", a), alarms.TextChanged, alarms.Major)}))
			<-time.After(time.Duration(gaps.IntN(3000)) * time.Millisecond)
		}
	}
	<-time.After(100 * time.Hour)
	synctest.Wait()
	s := d.Stats()[0]
	require.Zero(t, s.Pending)
	require.NotZero(t, bad)
	byAlarm := map[string][]string{}
	for _, o := range order {
		byAlarm[o.alarm] = append(byAlarm[o.alarm], o.sequence)
	}
	require.Len(t, byAlarm, nAlarms)
	total := 0
	for alarm, seqs := range byAlarm {
		require.True(t, slices.IsSorted(seqs), "%s: %v", alarm, seqs)
		require.Len(t, slices.Compact(seqs), len(seqs), alarm)
		total += len(seqs)
	}
	require.EqualValues(t, nAlarms*nChanges, uint64(total)+s.GivenUp)
}

// One request of an alarm at a time, and a bounded number in all.
func TestInFlight(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		now, most := map[string]int{}, 0
		f := newReceiver(t, nil)
		f.answer = func(_ int, r request) (*http.Response, error) {
			var e cloudevents.Event
			require.NoError(t, json.Unmarshal(r.body, &e))
			f.mu.Lock()
			now[e.Subject()]++
			require.Equal(t, 1, now[e.Subject()])
			total := 0
			for _, n := range now {
				total += n
			}
			most = max(most, total)
			f.mu.Unlock()
			<-time.After(2 * time.Second)
			f.mu.Lock()
			now[e.Subject()]--
			f.mu.Unlock()
			return answer(http.StatusOK), nil
		}
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{endpoint()}, Via: f})
		var changes []alarms.Change
		for i := range uint64(60) {
			changes = append(changes, change(i+1, fmt.Sprint("a", i%10), alarms.TextChanged, alarms.Major))
		}
		require.NoError(t, d.Publish(changes))
		<-time.After(time.Minute)
		synctest.Wait()
		require.Len(t, f.got(), 60)
		require.Equal(t, notify.Parallel, most)
	})
}

// A stalled receiver is given 20 s, and another endpoint does not notice.
func TestStalledReceiver(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var stalled []time.Duration
		began := time.Now()
		var good []time.Time
		via := roundTripper(func(r *http.Request) (*http.Response, error) {
			if r.URL.Host == "good.example" {
				good = append(good, time.Now())
				return answer(http.StatusOK), nil
			}
			at := time.Now()
			<-r.Context().Done()
			stalled = append(stalled, time.Since(at))
			return nil, r.Context().Err()
		})
		e, other := endpoint(), endpoint()
		other.Name, other.URL = "good", collector.NewSecret("https://good.example/x")
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e, other}, Via: via})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		<-time.After(22 * time.Second)
		synctest.Wait()
		require.Equal(t, []time.Duration{20 * time.Second}, stalled)
		require.Equal(t, []time.Time{began}, good)
		require.Equal(t, "no answer in time", d.Stats()[0].LastError)
	})
}

// When an endpoint that was down answers again, all that waits goes out at
// once and not on its own schedule of hours.
func TestRecoveryCallsWaitingMessages(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		began := time.Now()
		f := newReceiver(t, func(int, request) (*http.Response, error) {
			if time.Since(began) < 3*time.Hour {
				return nil, errors.New("connection refused")
			}
			return answer(http.StatusOK), nil
		})
		e := endpoint()
		e.Heartbeat = 10 * time.Minute
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: f})
		for i := range uint64(5) {
			require.NoError(t, d.Publish([]alarms.Change{change(i+1, fmt.Sprint("a", i), alarms.Raised, alarms.Major)}))
		}
		<-time.After(2*time.Hour + 59*time.Minute)
		synctest.Wait()
		require.Equal(t, 5, d.Stats()[0].Pending)
		<-time.After(12 * time.Minute) // the next heartbeat gets through
		synctest.Wait()
		s := d.Stats()[0]
		require.Zero(t, s.Pending)
		require.EqualValues(t, 5, s.Delivered)
		require.Equal(t, notify.Active, s.State)
	})
}

func TestOldMessageIsGivenUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		status := http.StatusGone
		f := newReceiver(t, func(int, request) (*http.Response, error) { return answer(status), nil })
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{endpoint()}, Via: f})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		<-time.After(notify.MaxAge - time.Hour)
		require.NoError(t, d.Publish([]alarms.Change{change(2, "a", alarms.ClearedChange, alarms.Major)}))
		<-time.After(2 * time.Hour)
		status = http.StatusOK
		require.NoError(t, d.Resume("noc"))
		synctest.Wait()
		s := d.Stats()[0]
		require.EqualValues(t, 1, s.Delivered, "the younger one")
		require.EqualValues(t, 1, s.GivenUp)
		require.Contains(t, mustEntries(t, d)[0].Reason, "not delivered within 168h")
	})
}

func mustEntries(t *testing.T, d *notify.Dispatcher) []notify.Entry {
	t.Helper()
	list, err := d.Entries("noc")
	require.NoError(t, err)
	return list
}

type brokenOutbox struct{ notify.Outbox }

func (brokenOutbox) Append([]notify.Entry) error { return errors.New("disk full") }

// hangingOutbox answers nobody for a while once it was asked.
type hangingOutbox struct {
	notify.Outbox
	hang atomic.Bool
}

func (o *hangingOutbox) Due(endpoint string, now time.Time, limit int) ([]notify.Entry, time.Time, error) {
	if o.hang.Load() {
		<-time.After(notify.StopGrace - time.Second)
	}
	return o.Outbox.Due(endpoint, now, limit)
}

// TestStopWhileOutboxHangs: a stop breaks requests off after the grace, also
// when the outbox holds up who is to notice the stop.
func TestStopWhileOutboxHangs(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		asked := make(chan struct{}, 10)
		stalled := roundTrip(func(r *http.Request) (*http.Response, error) {
			asked <- struct{}{}
			<-r.Context().Done()
			return nil, r.Context().Err()
		})
		box := &hangingOutbox{Outbox: notify.NewMemoryOutbox(10)}
		d, err := notify.New(notify.Config{Source: "/x", Endpoints: []notify.Endpoint{endpoint()}, Outbox: box, Via: stalled})
		require.NoError(t, err)
		ctx, stop := context.WithCancel(t.Context())
		done := make(chan error, 1)
		go func() { done <- d.Run(ctx) }()
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		<-asked
		box.hang.Store(true)
		require.NoError(t, d.Publish([]alarms.Change{change(2, "b", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		begun := time.Now()
		stop()
		require.NoError(t, <-done)
		require.Equal(t, notify.StopGrace, time.Since(begun))
	})
}

// roundTrip is a transport made of a function.
type roundTrip func(*http.Request) (*http.Response, error)

func (f roundTrip) RoundTrip(r *http.Request) (*http.Response, error) { return f(r) }

func TestPublishTellsWhenNothingWasTaken(t *testing.T) {
	d, err := notify.New(notify.Config{
		Source: "/x", Endpoints: []notify.Endpoint{endpoint()}, Outbox: brokenOutbox{notify.NewMemoryOutbox(1)},
	})
	require.NoError(t, err)
	require.ErrorContains(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}), "disk full")
}

func TestNewRefusesBadConfiguration(t *testing.T) {
	_, err := notify.New(notify.Config{})
	require.ErrorContains(t, err, "source")
	bad := endpoint()
	bad.Repeat = 1
	_, err = notify.New(notify.Config{Source: "/x", Endpoints: []notify.Endpoint{endpoint(), endpoint(), bad, {}}})
	require.ErrorContains(t, err, "twice")
	require.ErrorContains(t, err, "url is missing", "all faults at once")
}

func BenchmarkPublish(b *testing.B) {
	d, err := notify.New(notify.Config{Source: "/lightwell/bench", Endpoints: []notify.Endpoint{endpoint()}, Outbox: notify.NewMemoryOutbox(1000)})
	require.NoError(b, err)
	c := cableCut()
	b.ReportAllocs()
	for b.Loop() {
		c.Seq++
		if err := d.Publish([]alarms.Change{c}); err != nil {
			b.Fatal(err)
		}
	}
}
