package metrics

import (
	"cmp"
	"maps"
	"slices"
	"time"

	"lightwell/alarms"
)

var (
	alarmsActive  = gauge("alarms", "Active alarms that ask for an action: neither shelved nor held back.", "alarm_type", "severity")
	alarmsHeld    = gauge("alarms_held", "Active alarms that are held back, by planned work or behind their cause.", "reason")
	alarmsShelved = gauge("alarms_shelved", "Active alarms that lie on a shelf.")
	alarmsUnseen  = gauge("alarms_unacknowledged", "Active alarms, neither shelved nor held back, that nobody has acknowledged.")
	alarmsTold    = gauge("alarms_announced", "Active alarms that receivers were told of, also those shelved or held back since.")

	loadLast       = gauge("alarm_load_recent", "Alarms announced within the last 10 minutes.")
	loadAverage    = gauge("alarm_load_average", "Alarms announced per 10 minutes, averaged over the last 24 hours or since start.")
	loadAbove      = gauge("alarm_load_busy_intervals", "10-minute intervals with more than 10 announced alarms, within the last 24 hours.")
	loadFloods     = gauge("alarm_load_floods", "Alarm floods that began within the last 24 hours: from more than 10 alarms in 10 minutes until fewer than 5.")
	loadFlooding   = gauge("alarm_load_flood_active", "1 while an alarm flood lasts, else 0.")
	loadChattering = gauge("alarm_load_chattering", "Alarms that were raised and cleared 3 times or more within a minute, in the last 24 hours.")
	loadFleeting   = gauge("alarm_load_fleeting", "Alarms that cleared within seconds before anybody acted, in the last 24 hours.")
	loadStale      = gauge("alarm_load_stale", "Announced alarms that have been active for more than 24 hours.")
)

type typeSeverity struct {
	id       string
	severity alarms.Severity
}

// alarmCounts is one count over the list.
type alarmCounts struct {
	active                   map[typeSeverity]int
	work, symptoms           int
	shelved, unacked, spoken int
}

func (n *alarmCounts) add(a *alarms.Alarm) {
	if a.Announced {
		n.spoken++
	}
	switch {
	case a.ShelfName != "":
		n.shelved++
	case a.Hold.Reason == alarms.HoldPlannedWork:
		n.work++
	case a.Hold.Reason != "":
		n.symptoms++
	default:
		n.active[typeSeverity{a.Type, a.Severity}]++
		if a.Operator == alarms.OperatorNone || a.Operator == alarms.UnShelved {
			n.unacked++
		}
	}
}

func alarmFamilies() []*family {
	return []*family{alarmsActive, alarmsHeld, alarmsShelved, alarmsUnseen, alarmsTold,
		loadLast, loadAverage, loadAbove, loadFloods, loadFlooding, loadChattering, loadFleeting, loadStale}
}

func (m *Metrics) fillAlarm(out *sheet) {
	n := alarmCounts{active: map[typeSeverity]int{}}
	m.cfg.List.Each(alarms.Filter{Clearance: alarms.ClearanceNotCleared, Shelving: alarms.ShelvingAny}, func(a *alarms.Alarm) bool {
		n.add(a)
		return true
	})
	for _, k := range m.seen(n.active) {
		out.put(alarmsActive, float64(n.active[k]), k.id, k.severity.String())
	}
	out.put(alarmsHeld, float64(n.work), "planned_work")
	out.put(alarmsHeld, float64(n.symptoms), "consequence")
	out.put(alarmsShelved, float64(n.shelved))
	out.put(alarmsUnseen, float64(n.unacked))
	out.put(alarmsTold, float64(n.spoken))
	collectLoad(out, m.cfg.Engine.Load(time.Now()))
}

// seen adds to the kinds of alarm that there were and returns them all.
func (m *Metrics) seen(now map[typeSeverity]int) []typeSeverity {
	m.mu.Lock()
	defer m.mu.Unlock()
	for k := range now {
		m.types[k] = true
	}
	return slices.SortedFunc(maps.Keys(m.types), func(a, b typeSeverity) int {
		return cmp.Or(cmp.Compare(a.id, b.id), cmp.Compare(a.severity, b.severity))
	})
}

func collectLoad(out *sheet, l alarms.LoadFigures) {
	out.put(loadLast, float64(l.LastInterval))
	out.put(loadAverage, l.Average)
	out.put(loadAbove, float64(l.AboveTen))
	out.put(loadFloods, float64(len(l.Floods)))
	out.put(loadFlooding, number(len(l.Floods) > 0 && l.Floods[len(l.Floods)-1].End.IsZero()))
	out.put(loadChattering, float64(len(l.Chattering)))
	out.put(loadFleeting, float64(len(l.Fleeting)))
	out.put(loadStale, float64(len(l.Stale)))
}
