package metrics_test

import (
	"net/http/httptest"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/metrics"
	"lightwell/collector/history"
	"lightwell/collector/history/remote"
)

type past struct{ local *history.Stats }

func (p past) Stats() (*history.Stats, []remote.Stats) {
	return p.local, []remote.Stats{{Endpoint: "centre", Sent: 7, Refused: 1, Dropped: 2, Shed: 3, Lost: 4, Failures: 5, Waiting: 6, Bytes: 4096}}
}

func historyPage(p past) string {
	s := story()
	w := httptest.NewRecorder()
	metrics.New(metrics.Config{Engine: s, List: s, History: p}).Handler().ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	return w.Body.String()
}

func TestHistoryFigures(t *testing.T) {
	got := historyPage(past{&history.Stats{Written: 100, Ahead: 1, Late: 2, Twice: 3, Shed: 4, Lost: 5, Full: true}})
	for _, want := range []string{
		"lightwell_history_readings_total 100", `lightwell_history_readings_refused_total{reason="ahead"} 1`,
		`lightwell_history_readings_refused_total{reason="late"} 2`, `lightwell_history_readings_refused_total{reason="twice"} 3`,
		`lightwell_history_readings_lost_total{reason="queue"} 4`, `lightwell_history_readings_lost_total{reason="disk"} 5`,
		"lightwell_history_disk_full 1", `lightwell_remote_write_readings_total{endpoint="centre"} 7`,
		`lightwell_remote_write_readings_lost_total{endpoint="centre",reason="queue_full"} 2`,
		`lightwell_remote_write_attempt_failures_total{endpoint="centre"} 5`,
		`lightwell_remote_write_pending_readings{endpoint="centre"} 6`, `lightwell_remote_write_queue_bytes{endpoint="centre"} 4096`,
	} {
		require.Contains(t, got, want)
	}
	require.NotContains(t, historyPage(past{}), "lightwell_history_")
}
