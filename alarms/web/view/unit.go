package view

import (
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// UnitRow is a unit in a list.
type UnitRow struct {
	ID          string         `json:"id"`
	Name        string         `json:"name,omitempty"`
	Site        string         `json:"site"`
	Role        collector.Role `json:"role"`
	Model       string         `json:"model"`
	Via         string         `json:"via,omitempty" doc:"Id of the unit through which this one is read."`
	State       State          `json:"state"`
	Up          bool           `json:"up" doc:"The last poll was answered."`
	Baseline    string         `json:"baseline" doc:"commissioning, capturing or accepted."`
	Polled      time.Time      `json:"polled,omitzero"`
	LastSuccess time.Time      `json:"last_success,omitzero"`
}

// Unit is everything about one unit.
type Unit struct {
	UnitRow
	Address   string    `json:"address,omitempty"`
	Poll      string    `json:"poll" doc:"Schedule: cron expression or @every."`
	Supplies  int       `json:"supplies"`
	Failures  int       `json:"failures" doc:"Failed polls in a row."`
	Error     string    `json:"error,omitempty" doc:"Why the last poll failed."`
	StartedAt time.Time `json:"started_at,omitzero" doc:"When the unit's agent started, from its uptime."`
	Points    []Point   `json:"points"`
	LinkRows  []Link    `json:"links"`
	Alarm     []Alarm   `json:"alarms" doc:"All of the list at this unit, most urgent first."`
}

// Lasers returns the biases of lasers that are followed.
func (u Unit) Lasers() []Point {
	var out []Point
	for _, p := range u.Points {
		if p.Laser != nil {
			out = append(out, p)
		}
	}
	return out
}

// Trends returns the points whose slow change is known.
func (u Unit) Trends() []Point {
	var out []Point
	for _, p := range u.Points {
		if p.Trend != nil {
			out = append(out, p)
		}
	}
	return out
}

// Words of UnitRow.Baseline.
const (
	NotAccepted = "commissioning"
	Capturing   = "capturing"
	Accepted    = "accepted"
)

func (b *Board) unitRow(u collector.Unit) UnitRow {
	v := UnitRow{
		ID: u.ID, Name: u.Name, Site: u.Site, Role: u.Role, Model: u.Equipment.Model, Via: u.Via,
		State: b.state(b.fallback(u.ID), "unit/"+u.ID), Baseline: NotAccepted,
	}
	if s := b.units[u.ID]; s != nil {
		v.Up, v.Polled, v.LastSuccess = s.Up(), s.Polled, s.LastSuccess
		if s.Baselined {
			v.Baseline = Accepted
		}
	}
	if b.Baseline != nil {
		v.Baseline = b.Baseline(u.ID)
	}
	return v
}

// Units returns all units, in the order of the fleet file.
func (b *Board) Units() []UnitRow {
	out := make([]UnitRow, len(b.Fleet.Units))
	for i, u := range b.Fleet.Units {
		out[i] = b.unitRow(u)
	}
	return out
}

// Unit returns everything about one unit.
func (b *Board) Unit(id string) (Unit, bool) {
	u, ok := b.Fleet.Unit(id)
	if !ok {
		return Unit{}, false
	}
	v := Unit{UnitRow: b.unitRow(u), Address: u.Address, Poll: u.Poll, Supplies: u.Equipment.Supplies, Points: []Point{}, LinkRows: []Link{}}
	s := b.units[id]
	if s == nil {
		s = &alarms.UnitView{Unit: u}
	}
	v.Failures, v.StartedAt = s.Failures, s.StartedAt
	if s.Err != nil {
		v.Error = s.Err.Error()
	}
	v.Points = points(s)
	for _, l := range b.Fleet.LinksOf(id) {
		v.LinkRows = append(v.LinkRows, b.link(l))
	}
	v.Alarm = b.AlarmList(Filter{Resource: "unit/" + id})
	return v, true
}

// Resolve returns the units that a resource stands for: itself, the ends of a
// link, all units of a site. ok is false when there is no such resource.
func Resolve(f *collector.Fleet, resource string) (units []string, ok bool) {
	kind, id, rest := Resource(resource)
	if rest != "" {
		return nil, false
	}
	switch kind {
	case "unit":
		_, ok = f.Unit(id)
		return []string{id}, ok
	case "link":
		l, ok := f.Link(id)
		return []string{l.Outdoor, l.Indoor}, ok
	case "site":
		_, ok = f.Site(id)
		for _, u := range f.UnitsAt(id) {
			units = append(units, u.ID)
		}
		return units, ok
	}
	return nil, false
}
