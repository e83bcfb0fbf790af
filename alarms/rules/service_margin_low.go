package rules

import (
	"fmt"
	"slices"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/margin"
	"lightwell/collector"
	"lightwell/collector/plan"
)

// marginLow: a link can lose little more light before its service fails.
type marginLow struct{}

// Type implements alarms.Rule.
func (marginLow) Type() alarms.Type {
	return alarms.Type{
		ID: ServiceMarginLow, Title: "Service margin low",
		Why:      "The link has lost light and little is left before the service fails: before C/N0 is too low, gain control has no reserve or the receiver gets too little light. Users notice nothing until then, and then all at once.",
		ClearsBy: "More light: a margin half a decibel above the threshold in three polls in a row.",
		Severity: alarms.Minor, Cause: alarms.Cause{Name: "thresholdCrossed", Number: 549}, EventType: alarms.QualityOfServiceAlarm,
		Raise: alarms.Damping{Polls: 3, For: 30 * time.Second}, Clear: alarms.Damping{Polls: 3, For: 30 * time.Second},
	}
}

// Sizes of what is left, in optical decibels.
const (
	marginMinorDB    = 3 // a usual reserve for repairs and ageing
	marginMajorDB    = 1.5
	marginCriticalDB = 0.5 // as good as none: the repeatability of the monitors
	marginBackDB     = 0.5
	// marginLostDB is the least that a link must have lost: one that was
	// planned and accepted with little margin needs a better plan, no visit.
	marginLostDB     = 0.5
	marginLostBackDB = 0.2
)

var marginActions = []string{
	"Find the loss first: compare light at both ends with the baselines, and clean and re-seat the connectors at both ends.",
	"Compare with a power meter at the receiver's plug before anything is exchanged.",
	"Plan the visit before the margin is used up; the service fails at once, not slowly.",
}

// Judge implements alarms.Rule.
func (marginLow) Judge(v *alarms.View) []alarms.Verdict {
	o := look(v)
	var out []alarms.Verdict
	for _, l := range v.Fleet.LinksAt(v.Site.ID) {
		if m, ok := o.margin(l); ok {
			out = append(out, judgeMargin(v, m))
		}
	}
	return out
}

func judgeMargin(v *alarms.View, m margin.Margin) alarms.Verdict {
	key := marginKey(m.Link)
	out := alarms.Verdict{Resource: key.Resource, Seen: m.Seen}
	severity, limit := weighMargin(m, lastSeverity(v, key))
	if severity == 0 {
		return out
	}
	out.Active, out.Severity = true, severity
	out.Text = fmt.Sprintf("Link %s has lost light and has less than %.1f dB left in its %s before %s. First clean and re-seat the connectors at both ends.", m.Link, limit, m.Direction, endOf(m.By))
	if severity == alarms.Critical {
		out.Text = fmt.Sprintf("Link %s has no margin left in its %s: %s. First clean and re-seat the connectors at both ends.", m.Link, m.Direction, endOf(m.By))
	}
	out.Details = alarms.Details{
		Impacted: []string{key.Resource}, Observed: number(m.LeftDB), Threshold: number(limit), Unit: "dB",
		Actions: marginActions, Cautions: pathCare,
	}
	return out
}

// weighMargin returns the severity of a margin, 0 for enough, and the limit it
// is below. Below its specified light a receiver works worse, but works.
func weighMargin(m margin.Margin, was alarms.Severity) (alarms.Severity, float64) {
	lost := m.Lost >= marginLostDB || was != 0 && m.Lost >= marginLostDB-marginLostBackDB
	for _, s := range []struct {
		severity alarms.Severity
		limit    float64
	}{{alarms.Critical, marginCriticalDB}, {alarms.Major, marginMajorDB}, {alarms.Minor, marginMinorDB}} {
		below := m.LeftDB < s.limit || was >= s.severity && m.LeftDB < s.limit+marginBackDB
		if below && lost && !(s.severity == alarms.Critical && m.By == plan.ByReceiver) {
			return s.severity, s.limit
		}
	}
	return 0, 0
}

func endOf(by plan.Cause) string {
	switch by {
	case plan.ByNoise:
		return "C/N0 is too low for the service"
	case plan.ByControl:
		return "gain control has no reserve and the level falls"
	}
	return "the receiver gets too little light"
}

func marginKey(link string) alarms.Key {
	return alarms.Key{Resource: linkResource(link), Type: ServiceMarginLow}
}

// margin returns what a link has left; unknown while a laser of it warms up.
func (o *optics) margin(l collector.Link) (margin.Margin, bool) {
	known, done := o.margins[l.ID]
	if !done {
		m, ok := margin.Of(o.view, l)
		for i := range o.fibres {
			f := &o.fibres[i]
			ok = ok && !(f.link.ID == l.ID && o.warming(f.from.unit))
		}
		if known = nil; ok {
			known = &m
		}
		if o.margins == nil {
			o.margins = map[string]*margin.Margin{}
		}
		o.margins[l.ID] = known
	}
	if known == nil {
		return margin.Margin{}, false
	}
	return *known, true
}

// weighMargins takes the low margins of the links that a loss hurts for its
// consequences: one cause is one alarm, and as urgent as what follows from it.
func (o *optics) weighMargins(v *alarms.Verdict) {
	for i := range o.fibres {
		l := o.fibres[i].link
		if !slices.Contains(v.Details.Impacted, linkResource(l.ID)) {
			continue
		}
		if m, ok := o.margin(*l); ok {
			severity, _ := weighMargin(m, lastSeverity(o.view, marginKey(l.ID)))
			v.Severity = max(v.Severity, severity)
			v.Explains = addNew(v.Explains, marginKey(l.ID))
		}
	}
}
