package metrics

import (
	"cmp"
	"slices"
	"strings"

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
	reading   *family
	compared  bool
	baseline  *family
	deviation *family
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

// unitFamilies are all families of units but those of trends.
func unitFamilies() []*family {
	out := []*family{unitInfo, unitUp, unitSuccess, unitStart, unitDuration, unitReadings, unitPolls, unitFailures, baselineState}
	for _, q := range collector.Quantities() {
		f := families[q.Quantity]
		out = append(out, f.reading)
		if f.compared {
			out = append(out, f.baseline, f.deviation)
		}
	}
	return out
}

// unitSheet holds the samples of one unit.
type unitSheet struct {
	sheet
	points []collector.Point // in the order of the sheet
	round  uint64            // that saw the unit last
}

// fill takes over what is known of the unit. state is where its baseline
// stands; empty: not known.
func (s *unitSheet) fill(u *alarms.UnitView, p polls, state string) {
	s.begin()
	s.fillUnit(u, p, state)
	at := s.at
	if !s.fillPoints(u) {
		s.points, s.at = sortedPoints(u), at
		s.fillPoints(u)
	}
	s.end()
}

func (s *unitSheet) fillUnit(u *alarms.UnitView, p polls, state string) {
	id, site, up := u.Unit.ID, u.Unit.Site, u.Up()
	s.put(unitInfo, 1, id, site, string(u.Unit.Role), u.Unit.Equipment.Model)
	s.put(unitUp, number(up), id, site)
	s.putTime(unitSuccess, u.LastSuccess, id, site)
	s.put(unitPolls, float64(p.total), id, site)
	s.put(unitFailures, float64(p.failed), id, site)
	s.putIf(p.total > 0, unitDuration, p.took.Seconds(), id, site)
	s.putIf(up && !u.StartedAt.IsZero(), unitStart, seconds(u.StartedAt), id, site)
	for _, word := range BaselineStates {
		s.putIf(state != "", baselineState, number(word == state), id, site, word)
	}
	var byQuality [len(qualityNames)]int
	for _, pv := range u.Points {
		if int(pv.Reading.Quality) < len(byQuality) {
			byQuality[pv.Reading.Quality]++
		}
	}
	for q, n := range byQuality {
		s.putIf(up, unitReadings, float64(n), id, site, qualityNames[q])
	}
}

// fillPoints returns false when the unit has other points than before.
func (s *unitSheet) fillPoints(u *alarms.UnitView) bool {
	if len(s.points) != len(u.Points) {
		return false
	}
	for _, p := range s.points {
		pv, ok := u.Points[p]
		if !ok {
			return false
		}
		if f := families[p.Quantity]; f != nil {
			f.fill(&s.sheet, u, p.Port, &pv)
		}
		fillTrend(&s.sheet, u, p, &pv)
	}
	return true
}

func sortedPoints(u *alarms.UnitView) []collector.Point {
	points := make([]collector.Point, 0, len(u.Points))
	for p := range u.Points {
		points = append(points, p)
	}
	slices.SortFunc(points, func(a, b collector.Point) int {
		return cmp.Or(strings.Compare(a.Port, b.Port), strings.Compare(string(a.Quantity), string(b.Quantity)))
	})
	return points
}

func (f *quantityFamilies) fill(s *sheet, u *alarms.UnitView, port string, pv *alarms.PointView) {
	q, id, site := f.info.Quantity, u.Unit.ID, u.Unit.Site
	good := u.Up() && pv.Reading.Quality == collector.Good
	for _, word := range f.info.States {
		s.putIf(good, f.reading, number(word == pv.Reading.State()), id, site, port, word)
	}
	if len(f.info.States) == 0 {
		s.putIf(good, f.reading, q.BaseUnit(pv.Reading.Value), id, site, port)
	}
	if f.compared {
		level := unknown
		if pv.Baseline != nil {
			level = pv.Baseline.Value
		}
		s.put(f.baseline, q.BaseUnit(level), id, site, port)
		s.putIf(good && pv.Compared, f.deviation, q.BaseUnit(pv.Deviation), id, site, port)
	}
}
