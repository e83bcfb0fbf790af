package metrics

import (
	"math"
	"strings"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"

	"lightwell/alarms"
	"lightwell/collector"
)

var (
	unitInfo      = gauge("unit_info", "Always 1; the labels tell role and model of the unit.", "unit", "site", "role", "model")
	unitUp        = gauge("unit_up", "1 if the unit answered its last poll, 0 if it did not or was never polled.", "unit", "site")
	unitSuccess   = gauge("unit_last_success_timestamp_seconds", "When the unit last answered a poll, in seconds since 1970.", "unit", "site")
	unitStart     = gauge("unit_start_timestamp_seconds", "When the unit's management agent started, in seconds since 1970.", "unit", "site")
	unitDuration  = gauge("unit_last_poll_duration_seconds", "Time that the last poll of the unit took, answered or not, in seconds.", "unit", "site")
	unitReadings  = gauge("unit_readings", "Number of the unit's points by the quality of their last reading; only while the unit answers.", "unit", "site", "quality")
	unitPolls     = counter("polls_total", "Polls made, answered or not.", "unit", "site")
	unitMissed    = counter("polls_missed_total", "Polls dropped because the one before had not ended when the next was due.")
	unitFailures  = counter("poll_failures_total", "Polls that brought no readings: no answer, refused, or not understood.", "unit", "site")
	baselineState = gauge("unit_baseline_state", "Where the unit stands on its way to a baseline, 1 for the state that holds.", "unit", "site", "unit_baseline_state")
)

// quantityFamilies are the families of one quantity.
type quantityFamilies struct {
	info      collector.QuantityInfo
	reading   family
	compared  bool
	baseline  family
	deviation family
}

// unitSuffix maps the symbol of a unit to its suffix in metric names, for
// values and for differences of them.
var unitSuffix = map[string][2]string{
	"dBm":    {"_dbm", "_decibels"},
	"dBm/Hz": {"_dbm_per_hertz", "_decibels"},
	"dB":     {"_decibels", "_decibels"},
	"mA":     {"_amperes", "_amperes"},
	"V":      {"_volts", "_volts"},
	"°C":     {"_celsius", "_celsius"},
	"s":      {"_seconds", "_seconds"},
}

var families = func() map[collector.Quantity]*quantityFamilies {
	out := map[collector.Quantity]*quantityFamilies{}
	for _, q := range collector.Quantities() {
		out[q.Quantity] = newQuantityFamilies(q)
	}
	return out
}()

func newQuantityFamilies(q collector.QuantityInfo) *quantityFamilies {
	labels := []string{"unit", "site", "port"}
	f := &quantityFamilies{info: q, compared: q.Compared}
	if len(q.States) > 0 {
		f.reading = gauge(q.Metric, q.Help, append(labels, q.Metric)...)
		return f
	}
	f.reading = gauge(q.Metric, q.Help, labels...)
	if !q.Compared {
		return f
	}
	suffix := unitSuffix[q.Unit]
	stem := strings.TrimSuffix(q.Metric, suffix[0])
	title := strings.ToUpper(q.Title[:1]) + q.Title[1:]
	f.baseline = gauge(stem+"_baseline"+suffix[0], title+" at commissioning, as accepted, in "+unitWords(suffix[0])+".", labels...)
	f.deviation = gauge(stem+"_deviation"+suffix[1], title+" now minus its baseline at equal temperature, in "+unitWords(suffix[1])+".", labels...)
	return f
}

func unitWords(suffix string) string {
	return strings.ReplaceAll(strings.ReplaceAll(suffix[1:], "_", " "), "dbm", "dBm")
}

// qualityNames are the words of collector.Quality by their number.
var qualityNames = [...]string{
	collector.Good.String(), collector.Unavailable.String(), collector.Broken.String(), collector.OutOfRange.String(),
}

type unitCollector struct{ *Metrics }

// Describe implements prometheus.Collector.
func (c unitCollector) Describe(ch chan<- *prometheus.Desc) {
	describe(ch, unitInfo, unitUp, unitSuccess, unitStart, unitDuration, unitReadings, unitPolls, unitMissed, unitFailures, baselineState)
	for _, q := range collector.Quantities() {
		f := families[q.Quantity]
		describe(ch, f.reading)
		if f.compared {
			describe(ch, f.baseline, f.deviation)
		}
	}
}

// Collect implements prometheus.Collector.
func (c unitCollector) Collect(ch chan<- prometheus.Metric) {
	if c.cfg.Missed != nil {
		unitMissed.send(ch, float64(c.cfg.Missed()))
	}
	c.mu.Lock()
	counts := make(map[string]polls, len(c.polls))
	for id, p := range c.polls {
		counts[id] = *p
	}
	c.mu.Unlock()
	known := make(map[string]bool, len(counts))
	c.cfg.Engine.EachUnit(func(u *alarms.UnitView) bool {
		known[u.Unit.ID] = true
		c.collectUnit(ch, u, counts[u.Unit.ID])
		return true
	})
	c.forget(counts, known)
}

// forget drops the counts of units that are no longer in the fleet.
func (c unitCollector) forget(counts map[string]polls, known map[string]bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	for id := range counts {
		if !known[id] {
			delete(c.polls, id)
		}
	}
}

func (c unitCollector) collectUnit(ch chan<- prometheus.Metric, u *alarms.UnitView, p polls) {
	id, site := u.Unit.ID, u.Unit.Site
	unitInfo.send(ch, 1, id, site, string(u.Unit.Role), u.Unit.Equipment.Model)
	unitUp.send(ch, number(u.Up()), id, site)
	unitSuccess.sendTime(ch, u.LastSuccess, id, site)
	unitPolls.send(ch, float64(p.total), id, site)
	unitFailures.send(ch, float64(p.failed), id, site)
	if p.total > 0 {
		unitDuration.send(ch, p.took.Seconds(), id, site)
	}
	if c.cfg.Baselines != nil {
		baselineState.sendStates(ch, BaselineStates, c.cfg.Baselines.State(id), id, site)
	}
	var byQuality [len(qualityNames)]int
	byPort := map[string][]*dto.LabelPair{}
	for point, pv := range u.Points {
		labels := byPort[point.Port]
		if labels == nil {
			labels = []*dto.LabelPair{pair("port", point.Port), pair("site", site), pair("unit", id)}
			byPort[point.Port] = labels
		}
		if f := families[point.Quantity]; f != nil {
			f.collect(ch, u, labels, &pv)
		}
		if int(pv.Reading.Quality) < len(byQuality) {
			byQuality[pv.Reading.Quality]++
		}
	}
	if !u.Up() {
		return
	}
	unitStart.sendTime(ch, u.StartedAt, id, site)
	for q, n := range byQuality {
		unitReadings.send(ch, float64(n), id, site, qualityNames[q])
	}
}

func (f *quantityFamilies) collect(ch chan<- prometheus.Metric, u *alarms.UnitView, labels []*dto.LabelPair, pv *alarms.PointView) {
	q := f.info.Quantity
	if f.compared && pv.Baseline != nil {
		f.baseline.sendPoint(ch, q.BaseUnit(pv.Baseline.Value), labels)
	}
	if !u.Up() || pv.Reading.Quality != collector.Good {
		return
	}
	if f.compared && pv.Compared {
		f.deviation.sendPoint(ch, q.BaseUnit(pv.Deviation), labels)
	}
	if len(f.info.States) > 0 {
		f.reading.sendStates(ch, f.info.States, pv.Reading.State(), u.Unit.ID, u.Unit.Site, labels[0].GetValue())
		return
	}
	f.reading.sendPoint(ch, q.BaseUnit(pv.Reading.Value), labels)
}

// pointSample is a constant gauge that shares its labels with the other
// families of the same port. A large fleet has so many that labels made anew
// for each would be most of what a scrape allocates.
type pointSample struct {
	desc   *prometheus.Desc
	labels []*dto.LabelPair // sorted by name; never changed
	value  float64
}

// Desc implements prometheus.Metric.
func (s *pointSample) Desc() *prometheus.Desc { return s.desc }

// Write implements prometheus.Metric.
func (s *pointSample) Write(out *dto.Metric) error {
	out.Label, out.Gauge = s.labels, &dto.Gauge{Value: &s.value}
	return nil
}

// sendPoint leaves out what is no number.
func (f family) sendPoint(ch chan<- prometheus.Metric, v float64, labels []*dto.LabelPair) {
	if !math.IsNaN(v) && !math.IsInf(v, 0) {
		ch <- &pointSample{f.desc, labels, v}
	}
}

func pair(name, value string) *dto.LabelPair { return &dto.LabelPair{Name: &name, Value: &value} }
