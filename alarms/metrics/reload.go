package metrics

import "github.com/prometheus/client_golang/prometheus"

var (
	reloadGood = gauge("config_last_reload_successful", "1 if the last loading of configuration and fleet succeeded, 0 if it was refused and the one before is in force.")
	reloadTime = gauge("config_last_reload_success_timestamp_seconds", "When configuration and fleet were last loaded with success, in seconds since 1970.")
)

type reloadCollector struct{ *Metrics }

// Describe implements prometheus.Collector.
func (reloadCollector) Describe(ch chan<- *prometheus.Desc) { describe(ch, reloadGood, reloadTime) }

// Collect implements prometheus.Collector.
func (c reloadCollector) Collect(ch chan<- prometheus.Metric) {
	c.mu.Lock()
	ok, at := c.reloadOK, c.reloaded
	c.mu.Unlock()
	reloadGood.send(ch, number(ok))
	reloadTime.sendTime(ch, at)
}
