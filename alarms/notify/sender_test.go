package notify_test

import (
	"context"
	"net/http"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/notify"
)

// A success of a request that was under way does not start a stopped endpoint.
func TestStoppedStaysStopped(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := newReceiver(t, func(_ int, r request) (*http.Response, error) {
			if strings.Contains(string(r.body), "unit/slow") {
				<-time.After(5 * time.Second)
				return answer(http.StatusOK), nil
			}
			return answer(http.StatusGone), nil
		})
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{endpoint()}, Via: f})
		require.NoError(t, d.Publish([]alarms.Change{change(1, "slow", alarms.Raised, alarms.Major), change(2, "fast", alarms.Raised, alarms.Major)}))
		<-time.After(time.Minute)
		synctest.Wait()
		s := d.Stats()[0]
		require.Equal(t, notify.Stopped, s.State)
		require.EqualValues(t, 1, s.Delivered)
		require.Equal(t, 1, s.Pending)
		require.Len(t, f.got(), 2)
	})
}

// Retry-After with an answer that is no throttling holds back this message
// only, and never shortens the schedule.
func TestRetryAfterOfOneMessage(t *testing.T) {
	for header, want := range map[string]time.Duration{"60": time.Minute, "1": 5 * time.Second} {
		t.Run(header, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				f := newReceiver(t, func(n int, _ request) (*http.Response, error) {
					if n == 1 {
						return answer(http.StatusInternalServerError, "Retry-After", header), nil
					}
					return answer(http.StatusOK), nil
				})
				d := start(t, notify.Config{Endpoints: []notify.Endpoint{endpoint()}, Via: f})
				require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
				synctest.Wait()
				require.NoError(t, d.Publish([]alarms.Change{change(2, "b", alarms.Raised, alarms.Major)}))
				<-time.After(2 * time.Minute)
				synctest.Wait()
				got := f.got()
				require.Len(t, got, 3)
				require.Zero(t, got[1].at.Sub(got[0].at), "another alarm goes at once")
				gap := got[2].at.Sub(got[0].at)
				require.GreaterOrEqual(t, gap, want)
				require.LessOrEqual(t, gap, want+want/10)
			})
		})
	}
}

// A heartbeat that takes longer than its interval is not overtaken, and one
// that is refused is no message given up.
func TestSlowAndRefusedHeartbeat(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var under, most atomic.Int32
		f := newReceiver(t, func(int, request) (*http.Response, error) {
			most.Store(max(most.Load(), under.Add(1)))
			<-time.After(15 * time.Second)
			under.Add(-1)
			return answer(http.StatusBadRequest), nil
		})
		e := endpoint()
		e.Heartbeat = 10 * time.Second
		d := start(t, notify.Config{Endpoints: []notify.Endpoint{e}, Via: f})
		<-time.After(time.Minute + time.Second)
		synctest.Wait()
		require.EqualValues(t, 1, most.Load())
		require.Equal(t, []string{"0s", "15s", "30s", "45s", "1m0s"}, offsets(f.got()))
		require.Zero(t, d.Stats()[0].GivenUp)
	})
}

// What the receiver accepted while the daemon was stopping is not sent again
// after its next start.
func TestAcceptedWhileStopping(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		outbox := notify.NewMemoryOutbox(0)
		via := roundTripper(func(*http.Request) (*http.Response, error) {
			<-time.After(time.Second)
			return answer(http.StatusOK), nil // in spite of the end of its context
		})
		d, err := notify.New(notify.Config{Source: "/x", Endpoints: []notify.Endpoint{endpoint()}, Via: via, Outbox: outbox})
		require.NoError(t, err)
		ctx, stop := context.WithCancel(context.Background())
		done := make(chan error, 1)
		go func() { done <- d.Run(ctx) }()
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		stop()
		require.NoError(t, <-done)
		count, err := outbox.Count("noc")
		require.NoError(t, err)
		require.Zero(t, count.Pending)
	})
}

// A request broken off by our own stop is no attempt: the message waits
// unchanged for the next start.
func TestBrokenOffIsNoAttempt(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		outbox := notify.NewMemoryOutbox(0)
		via := roundTripper(func(r *http.Request) (*http.Response, error) {
			<-r.Context().Done()
			return nil, r.Context().Err()
		})
		d, err := notify.New(notify.Config{Source: "/x", Endpoints: []notify.Endpoint{endpoint()}, Via: via, Outbox: outbox})
		require.NoError(t, err)
		ctx, stop := context.WithCancel(context.Background())
		done := make(chan error, 1)
		go func() { done <- d.Run(ctx) }()
		require.NoError(t, d.Publish([]alarms.Change{change(1, "a", alarms.Raised, alarms.Major)}))
		synctest.Wait()
		stop()
		require.NoError(t, <-done)
		list, err := outbox.List("noc")
		require.NoError(t, err)
		require.Len(t, list, 1)
		require.Zero(t, list[0].Attempts)
		require.Zero(t, d.Stats()[0].Failures)
	})
}
