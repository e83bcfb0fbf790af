package alarms

import (
	"slices"
	"strings"

	"lightwell/collector"
)

// place is where a resource lies in the fleet.
type place struct {
	site, unit string
	point      collector.Point
	isPoint    bool
}

// locate finds a resource: site/ID, cable/ID, link/ID, unit/ID or
// unit/ID/POINT. It returns false for one that the fleet does not have.
func locate(f *collector.Fleet, resource string) (place, bool) {
	kind, id, _ := strings.Cut(resource, "/")
	switch kind {
	case "site":
		_, ok := f.Site(id)
		return place{site: id}, ok
	case "cable":
		c, ok := f.Cable(id)
		return place{site: c.Site}, ok
	case "link":
		l, ok := f.Link(id)
		u, _ := f.Unit(l.Indoor)
		return place{site: u.Site}, ok
	case "unit":
		id, name, isPoint := strings.Cut(id, "/")
		u, ok := f.Unit(id)
		p := place{site: u.Site, unit: id}
		if point, err := collector.ParsePoint(name); isPoint && err == nil {
			p.point, p.isPoint = point, true
			ok = ok && (len(u.Equipment.Points) == 0 || slices.Contains(u.Equipment.Points, point))
		}
		return p, ok
	}
	return place{}, false
}

// SiteOf returns the site of a resource; false for one that the fleet does not
// have.
func SiteOf(f *collector.Fleet, resource string) (site string, ok bool) {
	p, ok := locate(f, resource)
	return p.site, ok
}

// inFleet tells whether a resource is of a kind that a fleet has.
func inFleet(resource string) bool {
	kind, _, _ := strings.Cut(resource, "/")
	return slices.Contains([]string{"site", "cable", "link", "unit"}, kind)
}

// lineage returns the resources at which planned work holds back an alarm: its
// own, the links it impacts, and those it belongs to or hangs on. Work at one
// end of a link disturbs what comes out at the other, so a point of what
// arrives counts as part of its links.
func lineage(f *collector.Fleet, resource string, impacted []string) []string {
	out := append([]string{resource}, impacted...)
	p, _ := locate(f, resource)
	if p.site == "" {
		return out
	}
	out = append(out, "site/"+p.site)
	if id, isLink := strings.CutPrefix(resource, "link/"); isLink {
		l, _ := f.Link(id)
		return append(out, linkParts(l)...)
	}
	if p.unit == "" {
		return out
	}
	out = append(out, "unit/"+p.unit)
	if u, _ := f.Unit(p.unit); u.Via != "" {
		out = append(out, "unit/"+u.Via)
	}
	if p.isPoint && slices.Contains(arriving, p.point.Quantity) {
		for _, l := range f.LinksOf(p.unit) {
			out = append(append(out, "link/"+l.ID), linkParts(l)...)
		}
	}
	return out
}

// arriving are the quantities that depend on the far end of a link.
var arriving = []collector.Quantity{
	collector.OpticalReceivePower, collector.OpticalReceiveState, collector.RFOutputLevel, collector.RFNoiseFloor, collector.AGCAttenuation,
}

func linkParts(l collector.Link) []string {
	return []string{"cable/" + l.Downlink.Cable, "cable/" + l.Uplink.Cable, "unit/" + l.Outdoor, "unit/" + l.Indoor}
}

// severityFor returns the severity of a verdict after the user's assignment.
// The most special line that fits counts: unit, then site, then everywhere. A
// rule that grades its verdicts keeps its steps: the assignment moves all of
// them as far as it moves the type's default, within warning to critical.
func severityFor(f *collector.Fleet, t *Type, resource, site string, given Severity) Severity {
	if given < Warning || given > Critical {
		given = t.Severity
	}
	assigned, ok := assignment(f, t.ID, resource, site)
	if ok {
		given = given + assigned - t.Severity
	}
	return clamp(given)
}

// givenFor is the inverse of severityFor, as far as there is one.
func givenFor(f *collector.Fleet, t *Type, resource, site string, severity Severity) Severity {
	if assigned, ok := assignment(f, t.ID, resource, site); ok {
		severity = severity + t.Severity - assigned
	}
	return clamp(severity)
}

func clamp(s Severity) Severity { return min(max(s, Warning), Critical) }

func assignment(f *collector.Fleet, id, resource, site string) (Severity, bool) {
	best, rank := Severity(0), -1
	for _, line := range f.Severities {
		if line.Type != id {
			continue
		}
		r := -1
		switch {
		case line.Unit != "":
			if under(resource, "unit/"+line.Unit) {
				r = 2
			}
		case line.Site == "" || line.Site == site:
			r = min(len(line.Site), 1)
		}
		if s, err := ParseSeverity(line.Severity); err == nil && s >= Warning && r >= rank && r >= 0 {
			best, rank = s, r
		}
	}
	return best, rank >= 0
}
