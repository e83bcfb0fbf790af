package inventory

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"lightwell/collector"
	"lightwell/collector/document"
)

// severityWords are the severities an alarm can have.
var severityWords = []string{"warning", "minor", "major", "critical"}

func (l *loader) checkSeverities() {
	seen := map[collector.SeverityRule]bool{}
	for i := range l.severities {
		e := &l.severities[i]
		if e.T.Type != "" {
			e.name = fmt.Sprintf("severity of %q", e.T.Type)
		}
		if l.o.AlarmTypes != nil && e.T.Type != "" && !slices.Contains(l.o.AlarmTypes, e.T.Type) {
			l.fault(e.place, "type", document.Nearest(e.T.Type, l.o.AlarmTypes), "there is no such alarm type")
		}
		if e.T.Severity != "" && !slices.Contains(severityWords, e.T.Severity) {
			l.fault(e.place, "severity", document.Nearest(e.T.Severity, severityWords), "unknown severity %q", e.T.Severity)
		}
		l.refer(e.place, "site", "site", e.T.Site)
		l.refer(e.place, "unit", "unit", e.T.Unit)
		if e.T.Site != "" && e.T.Unit != "" {
			l.fault(e.place, "site", "keep one; a unit has only one site", "site and unit are both given")
		}
		rule := collector.SeverityRule(e.T)
		where := rule
		if where.Severity = ""; seen[where] {
			l.fault(e.place, "type", "keep one of them", "the same type is given twice for the same place")
		}
		seen[where] = true
		l.out.Severities = append(l.out.Severities, rule)
	}
}

func (l *loader) checkWork() {
	for i := range l.work {
		e := &l.work[i]
		w := collector.PlannedWork{ID: e.T.ID, Resources: e.T.Resources, Start: e.T.Start, Duration: time.Duration(e.T.Duration), Reason: e.T.Reason}
		zones := l.resources(e)
		w.Location = l.workZone(e, zones)
		if e.doc.Has(e.at+".duration") && w.Duration <= 0 {
			l.fault(e.place, "duration", "write how long it lasts, like 4h", "duration %s is not above zero", w.Duration)
		}
		l.start(e, w)
		l.out.PlannedWork = append(l.out.PlannedWork, w)
	}
}

// resources checks the names and returns the time zones of their sites.
func (l *loader) resources(e *entry[workLayout]) map[string]*time.Location {
	if e.doc.Has(e.at+".resources") && len(e.T.Resources) == 0 {
		l.fault(e.place, "resources", "name what is worked on, like site/north-quay", "no resources")
	}
	zones := map[string]*time.Location{}
	for i, r := range e.T.Resources {
		key := fmt.Sprintf("resources[%d]", i)
		kind, id, _ := strings.Cut(r, "/")
		switch kind {
		case "site", "unit", "link", "cable":
		default:
			l.fault(e.place, key, "write site/, unit/, link/ or cable/ and an id", "%q is not a resource", r)
			continue
		}
		if id == "" {
			l.fault(e.place, key, "write the id behind "+kind+"/", "%q names nothing", r)
			continue
		}
		if !l.refer(e.place, key, kind, id) {
			continue
		}
		if s, ok := l.site[l.siteOf(kind, id)]; ok {
			zones[s.Location.String()] = s.Location
		}
	}
	return zones
}

func (l *loader) siteOf(kind, id string) string {
	switch kind {
	case "site":
		return id
	case "unit":
		return l.unit[id].T.Site
	case "cable":
		for i := range l.cables {
			if l.cables[i].T.ID == id {
				return l.cables[i].T.Site
			}
		}
	case "link":
		for i := range l.links {
			if u := l.unit[l.links[i].T.Indoor]; l.links[i].T.ID == id && u != nil {
				return u.T.Site
			}
		}
	}
	return ""
}

// workZone returns the zone of a cron start: the one given, else that of the
// resources' sites.
func (l *loader) workZone(e *entry[workLayout], zones map[string]*time.Location) *time.Location {
	if e.T.TimeZone != "" {
		return l.zone(e.place, e.T.TimeZone)
	}
	if _, err := time.Parse(time.RFC3339, e.T.Start); len(zones) > 1 && err != nil {
		l.fault(e.place, "", "add time_zone", "its sites are in different time zones")
	}
	if len(zones) == 1 {
		for _, loc := range zones {
			return loc
		}
	}
	return time.UTC
}

func (l *loader) start(e *entry[workLayout], w collector.PlannedWork) {
	if w.Start == "" {
		return
	}
	if _, err := time.Parse(time.RFC3339, w.Start); err == nil {
		return
	}
	s, err := collector.ParseSchedule(w.Start, w.Location)
	if err != nil {
		l.fault(e.place, "start", "write a time like 2026-03-01T22:00:00Z, or a cron expression like 0 22 * * 6", "start %q is neither a time nor a cron expression", w.Start)
		return
	}
	if gap := shortestPeriod(s); w.Duration >= gap {
		l.fault(e.place, "duration", "make it shorter: alarms would be held back without end", "duration %s is not shorter than the %s between two starts", w.Duration, gap)
	}
}
