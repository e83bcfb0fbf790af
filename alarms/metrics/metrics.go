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
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/notify"
	"lightwell/collector"
	"lightwell/collector/snmp/engine"
)

const prefix = "lightwell_"

// Engine is what is read of an alarms.Engine.
type Engine interface {
	// EachSite calls the function with the units of every site, as they are
	// at the same moment, until it returns false.
	EachSite(func([]*alarms.UnitView) bool)
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
	Datagrams func() engine.Stats // of the SNMP engine; nil: not counted
	Types     []alarms.Type       // alarm types, so that their counts are there from the start
}

// Metrics collects at each scrape. Safe for concurrent use.
type Metrics struct {
	cfg      Config
	registry *prometheus.Registry // of what the library counts itself
	live     *live
	duration prometheus.Histogram

	mu       sync.Mutex
	polls    map[string]*pollCount
	types    map[typeSeverity]bool // ever seen: their counts go to zero, not away
	reloadOK bool
	reloaded time.Time // last success
}

var buildInfo = gauge("build_info", "Always 1; the labels tell the version of the program and of Go.", "goversion", "version")

// New returns the metrics of one daemon, in a registry of their own.
func New(cfg Config) *Metrics {
	m := &Metrics{
		cfg:      cfg,
		registry: prometheus.NewRegistry(),
		live:     newLive(),
		duration: prometheus.NewHistogram(prometheus.HistogramOpts{
			Name:    prefix + "poll_duration_seconds",
			Help:    "Time that polls of single units took, answered or not, in seconds.",
			Buckets: []float64{.01, .025, .05, .1, .25, .5, 1, 2.5, 5, 10, 30},
		}),
		polls:    map[string]*pollCount{},
		types:    map[typeSeverity]bool{},
		reloadOK: true,
		reloaded: time.Now(),
	}
	for _, t := range cfg.Types {
		m.types[typeSeverity{t.ID, t.Severity}] = true
	}
	m.registry.MustRegister(
		m.duration,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}),
	)
	return m
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
