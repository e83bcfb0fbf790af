package metrics

import (
	"maps"
	"time"

	"github.com/prometheus/client_golang/prometheus"

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

type alarmCollector struct{ *Metrics }

// Describe implements prometheus.Collector.
func (alarmCollector) Describe(ch chan<- *prometheus.Desc) {
	describe(ch, alarmsActive, alarmsHeld, alarmsShelved, alarmsUnseen, alarmsTold,
		loadLast, loadAverage, loadAbove, loadFloods, loadFlooding, loadChattering, loadFleeting, loadStale)
}

// Collect implements prometheus.Collector.
func (c alarmCollector) Collect(ch chan<- prometheus.Metric) {
	n := alarmCounts{active: map[typeSeverity]int{}}
	c.cfg.List.Each(alarms.Filter{Clearance: alarms.ClearanceNotCleared, Shelving: alarms.ShelvingAny}, func(a *alarms.Alarm) bool {
		n.add(a)
		return true
	})
	for k := range c.seen(n.active) {
		alarmsActive.send(ch, float64(n.active[k]), k.id, k.severity.String())
	}
	alarmsHeld.send(ch, float64(n.work), "planned_work")
	alarmsHeld.send(ch, float64(n.symptoms), "consequence")
	alarmsShelved.send(ch, float64(n.shelved))
	alarmsUnseen.send(ch, float64(n.unacked))
	alarmsTold.send(ch, float64(n.spoken))
	collectLoad(ch, c.cfg.Engine.Load(time.Now()))
}

// seen adds to the kinds of alarm that there were and returns them all.
func (c alarmCollector) seen(now map[typeSeverity]int) map[typeSeverity]bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	for k := range now {
		c.types[k] = true
	}
	return maps.Clone(c.types)
}

func collectLoad(ch chan<- prometheus.Metric, l alarms.LoadFigures) {
	loadLast.send(ch, float64(l.LastInterval))
	loadAverage.send(ch, l.Average)
	loadAbove.send(ch, float64(l.AboveTen))
	loadFloods.send(ch, float64(len(l.Floods)))
	loadFlooding.send(ch, number(len(l.Floods) > 0 && l.Floods[len(l.Floods)-1].End.IsZero()))
	loadChattering.send(ch, float64(len(l.Chattering)))
	loadFleeting.send(ch, float64(len(l.Fleeting)))
	loadStale.send(ch, float64(len(l.Stale)))
}
