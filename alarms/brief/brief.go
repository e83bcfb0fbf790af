// Package brief makes the documents that go with people to a site, and those
// that stay after them: the visit brief, the commissioning certificate, the
// order of visits, and the availability of links by month.
//
// A brief says what is wrong and what speaks for it, what to measure first,
// what to bring, what is dangerous in this work, and how each link has done
// since it was commissioned. It works without history, and says so then. Its
// data come from alarms, findings, baselines, margins, forecasts, visits and
// history; it decides nothing that these have not said, apart from the order
// of visits, whose rule stands at Rank. Times are those of the site. The same
// sources at the same moment give the same document.
package brief

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/margin"
	"lightwell/alarms/visit"
	"lightwell/collector"
	"lightwell/collector/history"
	"lightwell/collector/state"
)

// ErrUnknown is returned for a site or link that the fleet does not have.
var ErrUnknown = errors.New("the fleet has nothing of that name")

// Sources are where a Writer gets its data. Fleet, Units and Alarms are
// needed.
type Sources struct {
	Fleet     func() *collector.Fleet
	Units     func() []alarms.UnitView
	Alarms    func(alarms.Filter) []alarms.Alarm
	Baselines func(unit string) []baseline.Record       // oldest first; nil: none are known
	History   history.Source                            // nil: none is kept
	Visits    func(visit.Filter) ([]visit.Visit, error) // newest first; nil: none are recorded
	// Changes returns lines of the log, newest first; nil: none is kept.
	Changes func(context.Context, state.Filter) ([]state.ChangeRow, error)
	Version string // of the program
}

// A Writer makes documents.
type Writer struct{ s Sources }

// New returns a writer.
func New(s Sources) *Writer { return &Writer{s} }

// scene is all that is known of a site at one moment.
type scene struct {
	now   time.Time
	fleet *collector.Fleet
	site  collector.Site
	units map[string]*alarms.UnitView
}

func (w *Writer) scene(site string, now time.Time) (*scene, error) {
	s := &scene{now: now, fleet: w.s.Fleet(), units: map[string]*alarms.UnitView{}}
	var ok bool
	if s.site, ok = s.fleet.Site(site); !ok {
		return nil, fmt.Errorf("site %q: %w", site, ErrUnknown)
	}
	units := w.s.Units()
	for i := range units {
		s.units[units[i].Unit.ID] = &units[i]
	}
	return s, nil
}

// sceneOf is the scene at a link's indoor unit.
func (w *Writer) sceneOf(link string, now time.Time) (collector.Link, *scene, error) {
	fleet := w.s.Fleet()
	l, ok := fleet.Link(link)
	if !ok {
		return l, nil, fmt.Errorf("link %q: %w", link, ErrUnknown)
	}
	indoor, _ := fleet.Unit(l.Indoor)
	s, err := w.scene(indoor.Site, now)
	return l, s, err
}

func (s *scene) unit(id string) *alarms.UnitView { return s.units[id] }

// margin is what a link has left; ok is false where that is not known.
func (s *scene) margin(l collector.Link) (margin.Margin, bool) {
	return margin.Link(s.fleet, s.unit, l)
}

// local is a time as people at the site read their clocks, with the name of
// the zone, or what it is ahead of UTC where it has none.
func (s *scene) local(t time.Time) string {
	t = t.In(s.zone())
	if name, _ := t.Zone(); strings.HasPrefix(name, "+") || strings.HasPrefix(name, "-") {
		return t.Format("2 Jan 2006 15:04 UTC-07:00")
	}
	return t.Format("2 Jan 2006 15:04 MST")
}

// day is the day of a time at the site.
func (s *scene) day(t time.Time) string { return t.In(s.zone()).Format("2 Jan 2006") }

func (s *scene) zone() *time.Location {
	if s.site.Location == nil {
		return time.UTC
	}
	return s.site.Location
}

func (s *scene) siteName() string { return named(s.site.Name, s.site.ID) }

// named is a name, or the id where there is none.
func named(name, id string) string {
	if name == "" {
		return id
	}
	return name
}
