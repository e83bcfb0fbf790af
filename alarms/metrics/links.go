package metrics

import (
	"github.com/prometheus/client_golang/prometheus"

	"lightwell/alarms"
	"lightwell/alarms/margin"
)

var (
	linkMargin = gauge("link_margin_decibels", "Optical loss that the link bears until its service fails, in decibels; the lower end where it is a range. Absent while not known.", "link", "site")
	linkLost   = gauge("link_lost_decibels", "Optical loss of the link's weaker direction since commissioning, in decibels.", "link", "site")
	linkCN0    = gauge("link_cn0_decibel_hertz", "C/N0 behind the link by its plan and its optical loss now, in decibel-hertz; the lower end where it is a range.", "link", "site")
)

// linkCollector publishes the margins of links.
type linkCollector struct{ *Metrics }

// Describe implements prometheus.Collector.
func (c linkCollector) Describe(ch chan<- *prometheus.Desc) {
	describe(ch, linkMargin, linkLost, linkCN0)
}

// Collect implements prometheus.Collector.
func (c linkCollector) Collect(ch chan<- prometheus.Metric) {
	if c.cfg.Fleet == nil {
		return
	}
	fleet := c.cfg.Fleet()
	units := make(map[string]*alarms.UnitView, len(fleet.Units))
	c.cfg.Engine.EachUnit(func(u *alarms.UnitView) bool {
		units[u.Unit.ID] = margin.Keep(u)
		return true
	})
	for _, l := range fleet.Links {
		m, ok := margin.Link(fleet, func(id string) *alarms.UnitView { return units[id] }, l)
		if !ok {
			continue
		}
		site := units[l.Indoor].Unit.Site
		linkMargin.send(ch, m.LeftLow, l.ID, site)
		linkLost.send(ch, m.Lost, l.ID, site)
		if m.Service {
			linkCN0.send(ch, m.CN0.Low, l.ID, site)
		}
	}
}
