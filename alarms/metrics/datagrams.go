package metrics

import (
	"github.com/prometheus/client_golang/prometheus"
)

var datagrams = counter("snmp_datagrams_total", "Datagrams of the SNMP engine by what became of them: sent, received; of those received, stray (from where nothing was asked) and "+
	"aside (from a unit, but no answer that counts); of those sent, undelivered (given back by the network).", "datagrams")

type datagramCollector struct{ *Metrics }

// Describe implements prometheus.Collector.
func (datagramCollector) Describe(ch chan<- *prometheus.Desc) { describe(ch, datagrams) }

// Collect implements prometheus.Collector.
func (c datagramCollector) Collect(ch chan<- prometheus.Metric) {
	if c.cfg.Datagrams == nil {
		return
	}
	s := c.cfg.Datagrams()
	for _, n := range []struct {
		what  string
		count uint64
	}{{"sent", s.Sent}, {"received", s.Received}, {"stray", s.Stray}, {"aside", s.Aside}, {"undelivered", s.Undelivered}} {
		datagrams.send(ch, float64(n.count), n.what)
	}
}
