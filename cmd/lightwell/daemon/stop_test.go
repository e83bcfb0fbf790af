package daemon_test

import (
	"context"
	"io"
	"net/http"
	"net/http/httptest"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/alarms/notify"
	"lightwell/cmd/lightwell/daemon"
	"lightwell/collector"
	"lightwell/collector/state"
	"lightwell/collector/state/pgtest"
)

// slow is a prober that takes its time whatever happens.
type slow struct {
	*switches
	release <-chan struct{} // nil: it honours the context
	began   chan<- string   // gets the unit of each probe
}

// Probe implements collector.Prober.
func (s slow) Probe(ctx context.Context, u collector.Unit) ([]collector.Reading, error) {
	if s.release == nil {
		<-ctx.Done()
		return nil, ctx.Err()
	}
	s.began <- u.ID
	select {
	case <-s.release:
	case <-time.After(time.Minute):
	}
	return s.switches.Probe(ctx, u)
}

// stalled is a receiver that accepts a message and never answers, until it is
// mended.
func stalled(t *testing.T, b *bench) (took chan string, mend func()) {
	took, wait := make(chan string, 100), make(chan struct{})
	server := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body) // else the server does not see that the client goes
		took <- r.Header.Get("webhook-id")
		select {
		case <-wait:
			w.WriteHeader(http.StatusNoContent)
		case <-r.Context().Done():
		}
	}))
	t.Cleanup(server.Close)
	b.cfg.Webhooks = append(b.cfg.Webhooks, notify.Endpoint{Name: "stalled", URL: collector.NewSecret(server.URL), Secrets: []collector.Secret{victimKey}})
	return took, sync.OnceFunc(func() { close(wait) })
}

// stopsByItself stops the daemon, which returns an error when something had to
// be left alone after StopLimit.
func (b *bench) stopsByItself() {
	b.t.Helper()
	begun := time.Now()
	b.stop()
	took := time.Since(begun)
	b.t.Logf("stopped within %s", took.Round(10*time.Millisecond))
	require.Less(b.t, took, daemon.StopLimit+time.Second)
}

// TestStopWithStalledReceiver: a message in flight gets its grace, is then
// broken off, and goes out after the restart under the same id.
func TestStopWithStalledReceiver(t *testing.T) {
	t.Parallel()
	b, plant := newSwitched(t, collector.Secret{})
	took, mend := stalled(t, b)
	b.start()
	b.daemon.Look(time.Now().Add(time.Hour), 0)
	b.saw("raised major clock-wrong daemon")
	first := <-took
	b.prober = slow{switches: plant}
	b.stopsByItself()
	mend()
	b.start()
	require.Equal(t, first, <-took, "the same message, with the same id")
}

// TestStopWithHangingDatabase: every write waits for a lock that nobody gives
// back, a receiver is stalled, and a unit does not answer.
func TestStopWithHangingDatabase(t *testing.T) {
	t.Parallel()
	server := pgtest.Start(t)
	dsn := server.Database()
	b, plant := newSwitched(t, dsn)
	took, mend := stalled(t, b)
	t.Cleanup(mend)
	b.prober = slow{switches: plant}
	b.start()
	b.daemon.Look(time.Now().Add(time.Hour), 0)
	b.saw("raised major clock-wrong daemon")
	<-took
	locked, release := make(chan struct{}), make(chan struct{})
	var holder sync.WaitGroup
	holder.Go(func() { server.Hold(dsn, "LOCK TABLE changes, outbox, documents", locked, release) })
	<-locked
	b.stopsByItself()
	close(release)
	holder.Wait()
	b.start()
	b.eventually("what was stored is there", func() bool { return b.alarm("daemon") != "" })
}

// TestStopIsNeverHeldUp: a part that does not end is left alone, and named.
func TestStopIsNeverHeldUp(t *testing.T) {
	t.Parallel()
	b, plant := newSwitched(t, collector.Secret{})
	release, began := make(chan struct{}), make(chan string, 10)
	d, err := daemon.New(daemon.Options{Config: b.cfg, Files: b.files(), Log: zap.NewNop(), Prober: slow{plant, release, began}})
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- d.Run(ctx) }()
	<-began
	begun := time.Now()
	cancel()
	err = <-ended
	require.ErrorContains(t, err, "stop: not ended within 10s: poller")
	require.Less(t, time.Since(begun), daemon.StopLimit+time.Second)
	close(release)
	require.Eventually(t, func() bool {
		s, err := state.Open(context.Background(), state.Config{Folder: b.cfg.Data}, zap.NewNop())
		return err == nil && s.Close() == nil
	}, soon, 50*time.Millisecond, "it ends all the same when the part does")
}
