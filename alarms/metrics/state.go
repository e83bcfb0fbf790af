package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// StateFigures is how the writing of the state goes.
type StateFigures struct {
	Written   bool      // the last write worked
	LastWrite time.Time // that worked; zero: none
	Waiting   int       // changes that are not written yet
}

var (
	stateWritten = gauge("state_written", "1 if the last write of the state succeeded, 0 if it failed and operator actions are refused.")
	stateTime    = gauge("state_last_write_timestamp_seconds", "When the state was last written with success, in seconds since 1970.")
	stateWaiting = gauge("state_changes_waiting", "Changes that are not written yet.")
)

type stateCollector struct{ *Metrics }

// Describe implements prometheus.Collector.
func (stateCollector) Describe(ch chan<- *prometheus.Desc) {
	describe(ch, stateWritten, stateTime, stateWaiting)
}

// Collect implements prometheus.Collector.
func (c stateCollector) Collect(ch chan<- prometheus.Metric) {
	if c.cfg.State == nil {
		return
	}
	f := c.cfg.State()
	written := 0.0
	if f.Written {
		written = 1
	}
	stateWritten.send(ch, written)
	stateTime.sendTime(ch, f.LastWrite)
	stateWaiting.send(ch, float64(f.Waiting))
}
