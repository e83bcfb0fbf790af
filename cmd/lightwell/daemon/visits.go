package daemon

import (
	"slices"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/visit"
)

// openVisits reads the visits. They ask the engine only later: it is made
// after them, because what they hold back is part of its calendar.
func (d *Daemon) openVisits() (err error) {
	d.visits, err = visit.NewBook(visit.Config{
		Store: visit.Stored{State: d.keep.store, Write: d.keep.write}, Fleet: d.fleet.Load, Units: d.unitsOf, Alarms: d.alarmsAt,
		History: d.past.source(), Event: func(ev alarms.Event) { d.engine.Note(ev) }, Closed: d.visitClosed, Log: d.log.Named("visits"),
	}, time.Now())
	return err
}

// works tells the diagnosis who was at a site lately and what they did there:
// visits, and planned work in force.
func (d *Daemon) works(site string, now time.Time) []alarms.Work {
	out := d.visits.Works(site, now)
	for _, p := range d.fleet.Load().PlannedWork {
		here := slices.ContainsFunc(p.Resources, func(r string) bool {
			at, _ := alarms.SiteOf(d.fleet.Load(), r)
			return at == site
		})
		if on, under := d.calendar.During(p.Resources, now); here && under && on.ID == p.ID {
			out = append(out, alarms.Work{ID: p.ID, Resources: p.Resources, Reason: p.Reason})
		}
	}
	return out
}

// visitClosed has slow changes of what a visit moved counted from its end on.
func (d *Daemon) visitClosed(p visit.Proof) {
	d.trends.Visited(p.Touched(), p.Ended)
}

// work is the planned work of the fleet file and the open visits.
func (d *Daemon) work() visit.Calendar {
	return visit.Calendar{Planned: &d.calendar, Visits: d.visits}
}

// unitsOf returns what is known of the units of a site.
func (d *Daemon) unitsOf(site string) []alarms.UnitView {
	var out []alarms.UnitView
	for _, u := range d.fleet.Load().UnitsAt(site) {
		if v, ok := d.engine.Unit(u.ID); ok {
			out = append(out, v)
		}
	}
	return out
}

func (d *Daemon) alarmsAt(site string) []alarms.Alarm {
	return d.list.Alarms(alarms.Filter{Site: site, Clearance: alarms.ClearanceNotCleared, Shelving: alarms.ShelvingAny})
}
