// Package metrics publishes what the daemon knows in the Prometheus text and
// OpenMetrics formats: readings, baselines and deviations of every point, how
// polling goes, the alarms and the load they make, and how webhooks fare.
//
// The package guarantees: names and labels are an interface that stays; a
// value that is not known is left out, never NaN; the readings of a unit that
// does not answer disappear while its lightwell_unit_up stays and is 0; each
// point has one series in each family, or one for each state where the family
// is a set of states. Base units are used, but powers in dBm and ratios in dB
// keep their unit in the name: never add or average those in dBm.
//
// Its data are the views of package alarms and the polls handed to
// ObservePoll. Units are polled on the daemon's own clock: a scrape reads the
// last poll and asks no unit; lightwell_unit_last_success_timestamp_seconds
// tells how old the readings are.
package metrics

import (
	"net/http"
	"runtime"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/notify"
	"lightwell/collector"
)

const prefix = "lightwell_"

// Engine is what is read of an alarms.Engine.
type Engine interface {
	// EachUnit calls the function for every unit until it returns false.
	EachUnit(func(*alarms.UnitView) bool)
	// Load returns the figures of the alarm load up to now.
	Load(now time.Time) alarms.LoadFigures
}

// List is what is read of an alarms.List.
type List interface {
	// Each calls the function for every alarm that passes, until it returns
	// false.
	Each(alarms.Filter, func(*alarms.Alarm) bool)
}

// Webhooks is what is read of a notify.Dispatcher.
type Webhooks interface {
	Stats() []notify.Stats
}

// Baselines is what is read of a baseline.Book.
type Baselines interface {
	// State returns one of BaselineStates.
	State(unit string) string
}

// BaselineStates are the states of a unit on its way to a baseline.
var BaselineStates = []string{baseline.Commissioning, baseline.Capturing, baseline.Accepted}

// Config says what is published. Engine and List are needed; families of
// what is nil are left out.
type Config struct {
	Version   string
	Engine    Engine
	List      List
	Webhooks  Webhooks
	Baselines Baselines
	Fleet     func() *collector.Fleet // nil: no families of links
	History   History
	Trends    Trends
	State     func() StateFigures // nil: nothing is stored
	Missed    func() uint64       // polls that were dropped; nil: not counted
	Types     []alarms.Type       // alarm types, so that their counts are there from the start
}

// Metrics collects at each scrape. Safe for concurrent use.
type Metrics struct {
	cfg      Config
	registry *prometheus.Registry
	duration prometheus.Histogram

	mu       sync.Mutex
	polls    map[string]*polls
	types    map[typeSeverity]bool // ever seen: their counts go to zero, not away
	reloadOK bool
	reloaded time.Time // last success
}

// polls counts those of one unit.
type polls struct {
	total, failed uint64
	took          time.Duration // of the last
}

// New returns the metrics of one daemon, in a registry of their own.
func New(cfg Config) *Metrics {
	m := &Metrics{
		cfg:      cfg,
		registry: prometheus.NewRegistry(),
		duration: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name:    prefix + "poll_duration_seconds",
			Help:    "Time that polls of single units took, answered or not, in seconds.",
			Buckets: []float64{.01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30},
		}),
		polls:    map[string]*polls{},
		types:    map[typeSeverity]bool{},
		reloadOK: true,
		reloaded: time.Now(),
	}
	for _, t := range cfg.Types {
		m.types[typeSeverity{t.ID, t.Severity}] = true
	}
	m.registry.MustRegister(
		m.duration,
		unitCollector{m}, trendCollector{m}, linkCollector{m}, alarmCollector{m}, webhookCollector{m}, historyCollector{m}, stateCollector{m}, reloadCollector{m},
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	)
	build := prometheus.NewGauge(prometheus.GaugeOpts{
		Name:        prefix + "build_info",
		Help:        "Always 1; the labels tell the version of the program and of Go.",
		ConstLabels: prometheus.Labels{"version": cfg.Version, "goversion": runtime.Version()},
	})
	build.Set(1)
	m.registry.MustRegister(build)
	return m
}

// Handler serves the page. A family that fails is left out; the rest is
// served.
func (m *Metrics) Handler() http.Handler {
	return promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{
		ErrorHandling: promhttp.ContinueOnError, EnableOpenMetrics: true, Registry: m.registry,
	})
}

// Gatherer gives the families to programs that want no HTTP.
func (m *Metrics) Gatherer() prometheus.Gatherer { return m.registry }

// ObservePoll counts a poll.
func (m *Metrics) ObservePoll(p collector.Poll) {
	m.duration.Observe(p.Took.Seconds())
	m.mu.Lock()
	defer m.mu.Unlock()
	u := m.polls[p.Unit]
	if u == nil {
		u = &polls{}
		m.polls[p.Unit] = u
	}
	u.total++
	u.took = p.Took
	if p.Err != nil {
		u.failed++
	}
}

// ObserveReload notes that the configuration was loaded anew at a time, or
// refused, when ok is false.
func (m *Metrics) ObserveReload(ok bool, at time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.reloadOK = ok; ok {
		m.reloaded = at
	}
}

// family is one metric family that is made anew at each collection.
type family struct {
	desc *prometheus.Desc
	kind prometheus.ValueType
}

func gauge(name, help string, labels ...string) family {
	return family{prometheus.NewDesc(prefix+name, help, labels, nil), prometheus.GaugeValue}
}

func counter(name, help string, labels ...string) family {
	return family{prometheus.NewDesc(prefix+name, help, labels, nil), prometheus.CounterValue}
}

// send hands a sample on. What cannot be a sample, as a label that is no
// text, becomes an error of the scrape.
func (f family) send(ch chan<- prometheus.Metric, value float64, labels ...string) {
	s, err := prometheus.NewConstMetric(f.desc, f.kind, value, labels...)
	if err != nil {
		s = prometheus.NewInvalidMetric(f.desc, err)
	}
	ch <- s
}

// sendTime hands on a moment; nothing for the zero time.
func (f family) sendTime(ch chan<- prometheus.Metric, at time.Time, labels ...string) {
	if !at.IsZero() {
		f.send(ch, float64(at.UnixNano())/1e9, labels...)
	}
}

// sendStates hands on a set of states: one sample per state, 1 for the one
// that holds. The last label is the state.
func (f family) sendStates(ch chan<- prometheus.Metric, states []string, holds string, labels ...string) {
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

func describe(ch chan<- *prometheus.Desc, families ...family) {
	for _, f := range families {
		ch <- f.desc
	}
}

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
