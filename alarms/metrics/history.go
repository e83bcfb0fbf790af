package metrics

import (
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

func historyFamilies() []*family {
	return []*family{historyWritten, historyRefused, historyLost, historyFull, historyLog,
		remoteSent, remoteFailures, remoteLost, remotePending, remoteBytes}
}

func (m *Metrics) fillHistory(out *sheet) {
	if m.cfg.History == nil {
		return
	}
	local, sent := m.cfg.History.Stats()
	if local != nil {
		full := 0.0
		if local.Full {
			full = 1
		}
		out.put(historyWritten, float64(local.Written))
		out.put(historyRefused, float64(local.Ahead), "ahead")
		out.put(historyRefused, float64(local.Late), "late")
		out.put(historyRefused, float64(local.Twice), "twice")
		out.put(historyLost, float64(local.Shed), "queue")
		out.put(historyLost, float64(local.Lost), "disk")
		out.put(historyFull, full)
		out.put(historyLog, local.LogSpan.Seconds())
	}
	for _, s := range sent {
		out.put(remoteSent, float64(s.Sent), s.Endpoint)
		out.put(remoteFailures, float64(s.Failures), s.Endpoint)
		out.put(remoteLost, float64(s.Refused), s.Endpoint, "refused")
		out.put(remoteLost, float64(s.Dropped), s.Endpoint, "queue_full")
		out.put(remoteLost, float64(s.Shed), s.Endpoint, "queue")
		out.put(remoteLost, float64(s.Lost), s.Endpoint, "disk")
		out.put(remotePending, float64(s.Waiting), s.Endpoint)
		out.put(remoteBytes, float64(s.Bytes), s.Endpoint)
	}
}
