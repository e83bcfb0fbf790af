package daemon

import (
	"time"

	"lightwell/alarms"
	"lightwell/alarms/visit"
	"lightwell/collector"
)

// openVisits reads the visits. They ask the engine only later: it is made
// after them, because what they hold back is part of its calendar.
func (d *Daemon) openVisits() (err error) {
	d.visits, err = visit.NewBook(visit.Config{
		Store: visit.Stored{State: d.keep.store, Write: d.keep.write}, Fleet: d.fleet.Load, Units: d.unitsOf, Alarms: d.alarmsAt,
		History: d.past.source(), Event: func(ev alarms.Event) { d.engine.Note(ev) }, Log: d.log.Named("visits"),
	}, time.Now())
	return err
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

var _ alarms.WorkCalendar = (*collector.Calendar)(nil)
