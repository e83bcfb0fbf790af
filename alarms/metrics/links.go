package metrics

import (
	"lightwell/alarms"
	"lightwell/alarms/margin"
	"lightwell/collector"
	"lightwell/collector/plan"
)

var (
	linkMargin = gauge("link_margin_decibels", "Optical loss that the link bears until its service fails, in decibels; the lower end where it is a range. Absent while not known.", "link", "site")
	linkLost   = gauge("link_lost_decibels", "Optical loss of the link's weaker direction since commissioning, in decibels.", "link", "site")
	linkCN0    = gauge("link_cn0_decibel_hertz", "C/N0 behind the link by its plan and its optical loss now, in decibel-hertz; the lower end where it is a range.", "link", "site")
)

func linkFamilies() []*family { return []*family{linkMargin, linkLost, linkCN0} }

// linkSheet holds the samples of one link.
type linkSheet struct {
	sheet
	plan  plan.Link
	site  string
	round uint64 // that saw its site last
}

// linkBook holds the links of one fleet by site. A link is within one site.
type linkBook struct {
	fleet  *collector.Fleet
	bySite map[string][]*linkSheet
	units  []*alarms.UnitView // of the site that is being filled
	find   margin.Units       // among them
}

func newLinkBook() *linkBook {
	b := &linkBook{}
	b.find = b.unit
	return b
}

func (b *linkBook) unit(id string) *alarms.UnitView {
	for _, u := range b.units {
		if u.Unit.ID == id {
			return u
		}
	}
	return nil
}

// use takes the links and plans of a fleet, unless it has them already.
func (b *linkBook) use(fleet *collector.Fleet, of *book) {
	if fleet == b.fleet {
		return
	}
	b.each((*linkSheet).drop)
	b.fleet, b.bySite = fleet, map[string][]*linkSheet{}
	for _, l := range fleet.Links {
		if indoor, ok := fleet.Unit(l.Indoor); ok {
			b.bySite[indoor.Site] = append(b.bySite[indoor.Site], &linkSheet{sheet: sheet{book: of}, plan: plan.Of(fleet, l), site: indoor.Site})
		}
	}
}

func (b *linkBook) each(fn func(*linkSheet)) {
	for _, links := range b.bySite {
		for _, l := range links {
			fn(l)
		}
	}
}

// fill takes over the margins of the links at the site of the units.
func (b *linkBook) fill(units []*alarms.UnitView, round uint64) {
	if len(units) == 0 {
		return
	}
	b.units = units
	for _, l := range b.bySite[units[0].Unit.Site] {
		l.round = round
		l.fill(b.find)
	}
	b.units = nil
}

func (l *linkSheet) fill(units margin.Units) {
	m, ok := margin.Planned(&l.plan, units)
	l.begin()
	l.putIf(ok, linkMargin, m.LeftLow, l.plan.ID, l.site)
	l.putIf(ok, linkLost, m.Lost, l.plan.ID, l.site)
	l.putIf(ok && m.Service, linkCN0, m.CN0.Low, l.plan.ID, l.site)
	l.end()
}

// sweep empties the links whose site was not seen in this round.
func (b *linkBook) sweep(round uint64) {
	b.each(func(l *linkSheet) {
		if l.round != round {
			l.drop()
		}
	})
}
