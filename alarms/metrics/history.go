package metrics

import (
	"github.com/prometheus/client_golang/prometheus"

	"lightwell/collector/history"
	"lightwell/collector/history/remote"
)

// History tells how readings are kept and sent on; local is nil when none
// are kept here.
type History interface {
	Stats() (local *history.Stats, sent []remote.Stats)
}

var (
	historyWritten = counter("history_readings_total", "Readings written to the history.")
	historyRefused = counter("history_readings_refused_total", "Readings that the history refuses: ahead of the clock, too late, or another value for the same instant.", "reason")
	historyLost    = counter("history_readings_lost_total", "Readings that the history should have and has not: too many waited, or the disk did not take them.", "reason")
	historyLog     = gauge("history_log_span_seconds", "Time that the write-ahead log of the readings reaches back, in seconds; some hours in good health.")
	historyFull    = gauge("history_disk_full", "1 while no reading is written because the disk is almost full, else 0.")
	remoteSent     = counter("remote_write_readings_total", "Readings that the endpoint has accepted.", "endpoint")
	remoteFailures = counter("remote_write_attempt_failures_total", "Requests to the endpoint that are repeated.", "endpoint")
	remoteLost     = counter("remote_write_readings_lost_total", "Readings that the endpoint will not get.", "endpoint", "reason")
	remotePending  = gauge("remote_write_pending_readings", "Readings in the queue on disk.", "endpoint")
	remoteBytes    = gauge("remote_write_queue_bytes", "Size of the queue on disk, in bytes.", "endpoint")
)

type historyCollector struct{ *Metrics }

// Describe implements prometheus.Collector.
func (historyCollector) Describe(ch chan<- *prometheus.Desc) {
	describe(ch, historyWritten, historyRefused, historyLost, historyFull, historyLog,
		remoteSent, remoteFailures, remoteLost, remotePending, remoteBytes)
}

// Collect implements prometheus.Collector.
func (c historyCollector) Collect(ch chan<- prometheus.Metric) {
	if c.cfg.History == nil {
		return
	}
	local, sent := c.cfg.History.Stats()
	if local != nil {
		full := 0.0
		if local.Full {
			full = 1
		}
		historyWritten.send(ch, float64(local.Written))
		historyRefused.send(ch, float64(local.Ahead), "ahead")
		historyRefused.send(ch, float64(local.Late), "late")
		historyRefused.send(ch, float64(local.Twice), "twice")
		historyLost.send(ch, float64(local.Shed), "queue")
		historyLost.send(ch, float64(local.Lost), "disk")
		historyFull.send(ch, full)
		historyLog.send(ch, local.LogSpan.Seconds())
	}
	for _, s := range sent {
		remoteSent.send(ch, float64(s.Sent), s.Endpoint)
		remoteFailures.send(ch, float64(s.Failures), s.Endpoint)
		remoteLost.send(ch, float64(s.Refused), s.Endpoint, "refused")
		remoteLost.send(ch, float64(s.Dropped), s.Endpoint, "queue_full")
		remoteLost.send(ch, float64(s.Shed), s.Endpoint, "queue")
		remoteLost.send(ch, float64(s.Lost), s.Endpoint, "disk")
		remotePending.send(ch, float64(s.Waiting), s.Endpoint)
		remoteBytes.send(ch, float64(s.Bytes), s.Endpoint)
	}
}
