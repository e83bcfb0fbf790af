package daemon_test

import (
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"sync/atomic"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/web"
	"lightwell/collector"
	"lightwell/collector/history/remote"
)

// What is polled can be asked for, before and after a restart, and goes to
// the other databases of the configuration.
func TestReadingsAreKeptAndSent(t *testing.T) {
	t.Parallel()
	q := newQuay(t)
	var sent atomic.Int64
	receiver := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		n, _ := io.Copy(io.Discard, r.Body)
		sent.Add(n)
		w.WriteHeader(http.StatusNoContent)
	}))
	t.Cleanup(receiver.Close)
	q.cfg.History.Send = []remote.Endpoint{{
		Name: "centre", URL: collector.NewSecret(receiver.URL + "/api/v1/write"), Protocol: remote.Protocol1, MaxBytes: remote.DefaultMaxBytes,
	}}
	q.start()
	var past web.History
	q.eventually("ten readings of the light", func() bool {
		q.get("/api/v1/history?unit=room-1&point=optical_receive_power&step=raw", &past)
		return len(past.Series) == 1 && len(past.Series[0].Samples) >= 10
	})
	before := past.Series[0].Samples
	require.Equal(t, "dBm", past.Series[0].Symbol)
	require.InDelta(t, 0, before[0].Value, 30)
	q.eventually("readings are sent", func() bool { return sent.Load() > 0 })
	q.eventually("and counted", func() bool {
		local, remotes := q.daemon.HistoryStats()
		return local.Written > 0 && len(remotes) == 1 && remotes[0].Sent > 0
	})
	require.Contains(t, q.get("/metrics", nil), "lightwell_history_readings_total ")
	q.stop()

	q.start()
	q.get("/api/v1/history?unit=room-1&point=optical_receive_power&step=raw", &past)
	require.GreaterOrEqual(t, len(past.Series[0].Samples), len(before))
	require.Equal(t, before, past.Series[0].Samples[:len(before)])
	for _, folder := range []string{"history/raw", "history/hourly", "remote-write/centre"} {
		info, err := os.Stat(filepath.Join(q.cfg.Data, filepath.FromSlash(folder)))
		require.NoError(t, err)
		require.True(t, info.IsDir())
	}
}

// History can be elsewhere only, and then be away: alarms do not need it.
func TestHistoryElsewhere(t *testing.T) {
	t.Parallel()
	q := newQuay(t)
	q.cfg.History.Off = true
	q.cfg.History.Read = &remote.Endpoint{URL: collector.NewSecret("http://127.0.0.1:1")}
	q.start()
	q.eventually("polls", func() bool { return q.daemon.Ready() == nil })
	resp, err := http.Get(q.daemon.URL() + "/api/v1/history?unit=room-1")
	require.NoError(t, err)
	body, err := io.ReadAll(resp.Body)
	require.NoError(t, err)
	require.NoError(t, resp.Body.Close())
	http.DefaultClient.CloseIdleConnections()
	require.Equal(t, http.StatusServiceUnavailable, resp.StatusCode, "%s", body)
	_, err = os.Stat(filepath.Join(q.cfg.Data, "history"))
	require.ErrorIs(t, err, os.ErrNotExist)
}
