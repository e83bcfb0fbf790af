package view

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"lightwell/alarms"
	"lightwell/collector"
)

// Place is where along the way from the sky to the user something is.
type Place string

// Places. Along a link they are passed in this order.
const (
	Sky    Place = "sky" // antennas and their feed
	Roof   Place = "roof"
	Fibre  Place = "fibre"
	Room   Place = "room"
	AtSite Place = "site"   // the whole site: mains, management network
	Daemon Place = "daemon" // Lightwell itself
)

// Along is the way of the signal, for drawing.
var Along = []Place{Sky, Roof, Fibre, Room}

// Alarm is an alarm with what a reader wants to know beside it.
type Alarm struct {
	alarms.Alarm
	Place    Place  `json:"place" doc:"Where on the way from the sky to the user: sky, roof, fibre, room, site or daemon."`
	SiteName string `json:"site_name,omitempty"`
}

func (b *Board) alarm(a *alarms.Alarm) Alarm {
	v := Alarm{Alarm: *a, Place: b.place(a)}
	if s, ok := b.Fleet.Site(a.Site); ok {
		v.SiteName = s.Name
	}
	return v
}

// place: light is lost on the fibre until somebody proves otherwise, whichever
// end measured it.
func (b *Board) place(a *alarms.Alarm) Place {
	kind, id, _ := Resource(a.Resource)
	switch {
	case strings.HasPrefix(a.Type, "antenna-"):
		return Sky
	case kind == "cable", kind == "link", strings.HasPrefix(a.Type, "optical-"):
		return Fibre
	case kind == "site":
		return AtSite
	case kind != "unit":
		return Daemon
	}
	if u, ok := b.Fleet.Unit(id); ok && u.Role == collector.Outdoor {
		return Roof
	}
	return Room
}

// byUrgency orders worst first, then those nobody has taken on, then those
// that hurt more links, then the newest.
func byUrgency(x, y *alarms.Alarm) int {
	return cmp.Or(
		cmp.Compare(y.Severity, x.Severity),
		cmp.Compare(taken(x), taken(y)),
		cmp.Compare(len(y.Details.Impacted), len(x.Details.Impacted)),
		y.LastRaised.Compare(x.LastRaised),
		cmp.Compare(x.ID, y.ID),
	)
}

func taken(a *alarms.Alarm) int {
	if a.Operator == alarms.OperatorNone || a.Operator == alarms.UnShelved || a.Operator == "" {
		return 0
	}
	return 1
}

// Conditions that an alarm list can be narrowed to.
const (
	Active       = "active"       // raised and neither held back nor shelved
	New          = "new"          // active, and nobody has taken it on
	Acknowledged = "acknowledged" // active, being handled
	Closed       = "closed"       // closed by an operator, raised or not
	Gone         = "cleared"      // cleared, not shelved
	Held         = "held"         // raised, held back: planned work or the consequence of another
	OnShelf      = "shelved"
	All          = "all"
)

// Conditions lists them for menus.
var Conditions = []string{Active, New, Acknowledged, Held, OnShelf, Gone, Closed, All}

// Filter narrows the alarm list. The zero Filter lets everything through.
type Filter struct {
	Condition string          // one of Conditions; "" is All
	AtLeast   alarms.Severity // zero: any
	Site      string
	Type      string
	Resource  string // this resource, and its points
}

// Check returns an error that names the first word that is not known.
func (f Filter) Check() error {
	if f.Condition != "" && !slices.Contains(Conditions, f.Condition) {
		return fmt.Errorf("unknown state %q: use %s", f.Condition, strings.Join(Conditions, ", "))
	}
	return nil
}

// Match tells whether a passes.
func (f Filter) Match(a *alarms.Alarm) bool {
	return a.Severity >= f.AtLeast &&
		(f.Site == "" || a.Site == f.Site) &&
		(f.Type == "" || a.Type == f.Type) &&
		(f.Resource == "" || a.Resource == f.Resource || strings.HasPrefix(a.Resource, f.Resource+"/")) &&
		inCondition(a, f.Condition)
}

func inCondition(a *alarms.Alarm, condition string) bool {
	shelved, held := IsShelved(a), a.Hold.Reason != ""
	raised := !a.Cleared && !shelved && !held
	switch condition {
	case Active:
		return raised
	case New:
		return raised && taken(a) == 0
	case Acknowledged:
		return raised && a.Operator == alarms.OperatorAck
	case Closed:
		return !shelved && a.Operator == alarms.OperatorClosed
	case Gone:
		return a.Cleared && !shelved
	case Held:
		return !a.Cleared && !shelved && held
	case OnShelf:
		return shelved
	}
	return true
}

// AlarmList returns the alarms that pass, most urgent first.
func (b *Board) AlarmList(f Filter) []Alarm {
	out := []Alarm{}
	for i := range b.Alarms {
		if a := &b.Alarms[i]; f.Match(a) {
			out = append(out, b.alarm(a))
		}
	}
	slices.SortStableFunc(out, func(x, y Alarm) int { return byUrgency(&x.Alarm, &y.Alarm) })
	return out
}

// Alarm returns the alarm of that id.
func (b *Board) Alarm(id string) (Alarm, bool) {
	for i := range b.Alarms {
		if b.Alarms[i].ID == id {
			return b.alarm(&b.Alarms[i]), true
		}
	}
	return Alarm{}, false
}

// ByKey returns the alarms with those keys that are still in the list.
func (b *Board) ByKey(keys []alarms.Key) []Alarm {
	var out []Alarm
	for i := range b.Alarms {
		if slices.Contains(keys, b.Alarms[i].Key) {
			out = append(out, b.alarm(&b.Alarms[i]))
		}
	}
	return out
}

// Consequences returns the alarms that are held back because of a.
func (b *Board) Consequences(a alarms.Alarm) []Alarm {
	var out []Alarm
	for i := range b.Alarms {
		if h := &b.Alarms[i]; h.Hold.Reason == alarms.HoldSymptom && h.Hold.By == a.Resource && !h.Cleared {
			out = append(out, b.alarm(h))
		}
	}
	return out
}

// Page cuts one page out of items: those after the one with id after, at most
// limit. next is the id to go on after, "" at the end; ok is false when there
// is no item with id after.
func Page[T any](items []T, limit int, after string, id func(T) string) (page []T, next string, ok bool) {
	start := 0
	if after != "" {
		i := slices.IndexFunc(items, func(t T) bool { return id(t) == after })
		if i < 0 {
			return nil, "", false
		}
		start = i + 1
	}
	end := min(start+limit, len(items))
	page = items[start:end]
	if end < len(items) && len(page) > 0 {
		next = id(page[len(page)-1])
	}
	return page, next, true
}
