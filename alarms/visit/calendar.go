package visit

import (
	"slices"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// During returns the open visit at one of the resources as planned work.
func (b *Book) During(resources []string, now time.Time) (collector.PlannedWork, bool) {
	for _, v := range *b.recent.Load() {
		if !v.open(now) || !slices.ContainsFunc(resources, func(r string) bool { return slices.Contains(v.Resources, r) }) {
			continue
		}
		return collector.PlannedWork{
			ID: v.Work(), Resources: slices.Clone(v.Resources), Start: v.Begun.Format(time.RFC3339), Duration: v.Until.Sub(v.Begun),
			Location: time.UTC, Reason: v.By + ": " + v.Reason,
		}, true
	}
	return collector.PlannedWork{}, false
}

// Works returns the visits to a site that are open or recent, for the
// diagnosis.
func (b *Book) Works(site string, now time.Time) []alarms.Work {
	var out []alarms.Work
	for _, v := range *b.recent.Load() {
		if v.Site != site || now.Sub(v.end(now)) >= RecentFor {
			continue
		}
		w := alarms.Work{ID: v.Work(), Resources: slices.Clone(v.Resources), Begin: v.Begun, End: v.Ended, Exchanged: slices.Clone(v.Exchanged), Reason: v.By + ": " + v.Reason}
		for _, m := range v.Meter {
			if m.Expected != nil { // without it a reading says nothing about a fault
				w.Meter = append(w.Meter, alarms.MeterReading{Unit: m.Unit, Port: m.Port, DBm: m.DBm, ExpectedDBm: *m.Expected, At: v.Ended})
			}
		}
		out = append(out, w)
	}
	slices.SortFunc(out, func(a, b alarms.Work) int { return a.Begin.Compare(b.Begin) })
	return out
}

// A Calendar is planned work and visits in one.
type Calendar struct {
	Planned alarms.WorkCalendar // nil: none
	Visits  *Book
}

var _ alarms.WorkCalendar = Calendar{}

// During implements alarms.WorkCalendar. A visit comes before planned work: it
// is what happens, not what was meant to.
func (c Calendar) During(resources []string, now time.Time) (collector.PlannedWork, bool) {
	if w, ok := c.Visits.During(resources, now); ok || c.Planned == nil {
		return w, ok
	}
	return c.Planned.During(resources, now)
}
