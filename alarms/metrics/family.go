package metrics

import (
	"time"

	"github.com/prometheus/client_golang/prometheus"
)

// family is one metric family. Those of units and links are kept ready in a
// book; the few samples of the others are made anew at each collection.
type family struct {
	name, help string
	labels     []string
	kind       prometheus.ValueType
	desc       *prometheus.Desc
}

func gauge(name, help string, labels ...string) *family {
	return newFamily(prometheus.GaugeValue, name, help, labels)
}

func counter(name, help string, labels ...string) *family {
	return newFamily(prometheus.CounterValue, name, help, labels)
}

func newFamily(kind prometheus.ValueType, name, help string, labels []string) *family {
	name = prefix + name
	return &family{name, help, labels, kind, prometheus.NewDesc(name, help, labels, nil)}
}

// send hands a sample on. What cannot be a sample, as a label that is no
// text, becomes an error of the scrape.
func (f *family) send(ch chan<- prometheus.Metric, value float64, labels ...string) {
	s, err := prometheus.NewConstMetric(f.desc, f.kind, value, labels...)
	if err != nil {
		s = prometheus.NewInvalidMetric(f.desc, err)
	}
	ch <- s
}

// sendTime hands on a moment; nothing for the zero time.
func (f *family) sendTime(ch chan<- prometheus.Metric, at time.Time, labels ...string) {
	if !at.IsZero() {
		f.send(ch, seconds(at), labels...)
	}
}

// sendStates hands on a set of states: one sample per state, 1 for the one
// that holds. The last label is the state.
func (f *family) sendStates(ch chan<- prometheus.Metric, states []string, holds string, labels ...string) {
	for _, s := range states {
		f.send(ch, number(s == holds), append(labels[:len(labels):len(labels)], s)...)
	}
}

func number(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

func seconds(at time.Time) float64 { return float64(at.UnixNano()) / 1e9 }

func describe(ch chan<- *prometheus.Desc, families ...*family) {
	for _, f := range families {
		ch <- f.desc
	}
}
