// Package availability works out for how long links have served, from the log
// of changes of their alarms.
//
// Its rule: a link is out of service while an alarm of a service-affecting
// type (Affecting) is raised that impacts it and that nothing stands in for: a
// failed supply beside a good one takes nothing away. Alarms that were silent
// as consequences of another count, for the link is as dark. Time out of
// service during planned work is planned: neither good nor bad. Time in which
// nobody looked (the daemon was not running, or an end of the link did not
// answer while no such alarm was raised) is unknown, and stated beside the
// figures instead of being taken for good.
//
// It is pure. Its data are lines of the log of changes, oldest first, and the
// alarms that stand.
package availability

import (
	"slices"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/rules"
	"lightwell/collector"
)

// Affecting are the types of alarm during which a link that they impact is out
// of service.
func Affecting() []string {
	return []string{rules.SignalLost, rules.LaserFailed, rules.SupplyFailed, rules.MainsLost, rules.AntennaFeedFault, rules.WarmUpOverdue}
}

// Blinding are the types during which nobody knows how a unit does.
func Blinding() []string { return []string{rules.UnitUnreachable, rules.CredentialsRefused} }

// A Change is one line of the log.
type Change struct {
	Time  time.Time
	Alarm alarms.Brief // after the change
	Gone  bool         // the alarm was taken out of the list
}

// A Log is what happened from a time on.
type Log struct {
	From    time.Time // before it nothing is known
	Changes []Change  // oldest first
	Off     []Span    // in which the daemon was not running
	// Standing are the alarms raised now: one without a line in the log has
	// stood all the time.
	Standing []alarms.Alarm
}

// Figures say how a link has served in a span.
type Figures struct {
	Link     string        `json:"link"`
	From     time.Time     `json:"from"`
	To       time.Time     `json:"to"`
	Percent  *float64      `json:"percent,omitempty" doc:"Of the time that is known and not planned work; missing where none is."`
	Lost     time.Duration `json:"-"`
	Longest  time.Duration `json:"-"`
	Outages  int           `json:"outages"`
	Planned  time.Duration `json:"-"`
	Unknown  time.Duration `json:"-"`
	Minutes  float64       `json:"minutes_lost"`
	LongestM float64       `json:"longest_outage_minutes"`
	PlannedM float64       `json:"planned_work_minutes" doc:"Out of service during planned work: left out of the sum."`
	UnknownM float64       `json:"unknown_minutes" doc:"Nobody looked: left out of the sum."`
}

// Of returns the figures of links from one time to another.
func Of(f *collector.Fleet, links []collector.Link, log Log, from, to time.Time) []Figures {
	history := log.follow(f, from, to)
	out := make([]Figures, len(links))
	for i, l := range links {
		out[i] = figures(l, history[l.ID], log, Span{from, to})
	}
	return out
}

// spells are when a link was what.
type spells struct{ down, planned, blind []Span }

func figures(l collector.Link, s spells, log Log, all Span) Figures {
	off := merge(append(slices.Clone(log.Off), Span{time.Time{}, log.From}))
	off = within(off, all)
	planned := minus(within(merge(s.planned), all), off)
	down := minus(minus(within(merge(s.down), all), off), planned)
	blind := minus(minus(minus(within(merge(s.blind), all), off), planned), down)
	out := Figures{
		Link: l.ID, From: all.From, To: all.To, Outages: len(down),
		Lost: sum(down), Planned: sum(planned), Unknown: sum(off) + sum(blind),
	}
	for _, d := range down {
		out.Longest = max(out.Longest, d.Length())
	}
	if known := all.Length() - out.Planned - out.Unknown; known > 0 {
		percent := 100 * (1 - out.Lost.Seconds()/known.Seconds())
		out.Percent = &percent
	}
	out.Minutes, out.LongestM, out.PlannedM, out.UnknownM = out.Lost.Minutes(), out.Longest.Minutes(), out.Planned.Minutes(), out.Unknown.Minutes()
	return out
}

// state is how an alarm has stood since a time.
type state struct {
	since time.Time
	alarm alarms.Brief
}

// follow turns the log into spells by link.
func (log Log) follow(f *collector.Fleet, from, to time.Time) map[string]spells {
	out := map[string]spells{}
	open := map[alarms.Key]state{}
	seen := map[alarms.Key]bool{}
	for _, c := range log.Changes {
		was, stood := open[c.Alarm.Key]
		if !seen[c.Alarm.Key] && !stood && c.Alarm.Cleared { // its begin lies before the log
			was, stood = state{from, c.Alarm}, true
		}
		seen[c.Alarm.Key] = true
		if stood {
			record(out, f, was, c.Time)
			delete(open, c.Alarm.Key)
		}
		if !c.Alarm.Cleared && !c.Gone {
			open[c.Alarm.Key] = state{c.Time, c.Alarm}
		}
	}
	for i := range log.Standing {
		a := &log.Standing[i]
		if !a.Cleared && !seen[a.Key] {
			change := alarms.Change{Alarm: *a}
			open[a.Key] = state{a.LastRaised, change.Brief()}
		}
	}
	for _, s := range open {
		record(out, f, s, to)
	}
	return out
}

// record adds the time in which an alarm stood as it did.
func record(out map[string]spells, f *collector.Fleet, s state, until time.Time) {
	span := Span{s.since, until}
	affects := slices.Contains(Affecting(), s.alarm.Type) && !s.alarm.BackedUp
	blinds := slices.Contains(Blinding(), s.alarm.Type)
	if !affects && !blinds {
		return
	}
	for _, id := range impacted(f, &s.alarm) {
		l := out[id]
		switch {
		case blinds:
			l.blind = append(l.blind, span)
		case s.alarm.Hold.Reason == alarms.HoldPlannedWork:
			l.planned = append(l.planned, span)
		default:
			l.down = append(l.down, span)
		}
		out[id] = l
	}
}

// impacted returns the links that an alarm impacts: those it names, else those
// that hang on its resource.
func impacted(f *collector.Fleet, a *alarms.Brief) (out []string) {
	for _, r := range a.Impacted {
		if id, is := strings.CutPrefix(r, "link/"); is {
			out = append(out, id)
		}
	}
	if len(out) > 0 {
		return out
	}
	kind, rest, _ := strings.Cut(a.Resource, "/")
	id, _, _ := strings.Cut(rest, "/")
	for _, l := range f.Links {
		indoor, _ := f.Unit(l.Indoor)
		hangs := map[string]bool{
			"link": l.ID == id, "unit": l.Outdoor == id || l.Indoor == id,
			"cable": l.Downlink.Cable == id || l.Uplink.Cable == id, "site": indoor.Site == id,
		}
		if hangs[kind] {
			out = append(out, l.ID)
		}
	}
	return out
}
