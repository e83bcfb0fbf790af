package visit

import (
	"slices"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// During returns the open visit at one of the resources as planned work.
func (b *Book) During(resources []string, now time.Time) (collector.PlannedWork, bool) {
	return b.during(resources, now, 0)
}

func (b *Book) during(resources []string, now time.Time, after time.Duration) (collector.PlannedWork, bool) {
	for _, v := range *b.recent.Load() {
		over := v.State != Open && !v.Ended.After(now) && now.Sub(v.Ended) < after
		if !over && !v.open(now) || !slices.ContainsFunc(resources, func(r string) bool { return slices.Contains(v.Resources, r) }) {
			continue
		}
		return collector.PlannedWork{
			ID: v.Work(), Resources: slices.Clone(v.Resources), Start: v.Begun.Format(time.RFC3339), Duration: v.Until.Sub(v.Begun),
			Location: time.UTC, Reason: v.By + ": " + v.Reason,
		}, true
	}
	return collector.PlannedWork{}, false
}

// ColdStart is how long after a visit drift is not judged: units that were
// without power have to warm up.
const ColdStart = 2 * time.Hour

// A Calendar is planned work and visits in one.
type Calendar struct {
	Planned alarms.WorkCalendar // nil: none
	Visits  *Book
	After   time.Duration // how much longer a visit counts; ColdStart for drift, 0 for alarms
}

var _ alarms.WorkCalendar = Calendar{}

// During implements alarms.WorkCalendar. A visit comes before planned work: it
// is what happens, not what was meant to.
func (c Calendar) During(resources []string, now time.Time) (collector.PlannedWork, bool) {
	if w, ok := c.Visits.during(resources, now, c.After); ok || c.Planned == nil {
		return w, ok
	}
	return c.Planned.During(resources, now)
}
