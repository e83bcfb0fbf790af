package metrics

import (
	"runtime"
	"slices"
	"sync"

	dto "github.com/prometheus/client_model/go"

	"lightwell/alarms"
)

// live is the part of the page whose families are kept ready.
type live struct {
	mu    sync.Mutex // held from a collection until its families are written
	book  *book
	units map[string]*unitSheet
	rest  sheet // what does not grow with the fleet
	links *linkBook
	round uint64 // counts the collections
}

func newLive() *live {
	b := newBook(slices.Concat(unitFamilies(), pointTrendFamilies(), linkFamilies(), pollFamilies(), datagramFamilies(), trendFamilies(),
		alarmFamilies(), webhookFamilies(), historyFamilies(), stateFamilies(), reloadFamilies(), []*family{buildInfo})...)
	return &live{book: b, units: map[string]*unitSheet{}, rest: sheet{book: b}, links: newLinkBook()}
}

// collectLive brings the families up to date. A site is taken over while its
// polls wait, so that all samples of a unit and of its links tell of the same
// polls.
func (m *Metrics) collectLive(out []*dto.MetricFamily) ([]*dto.MetricFamily, error) {
	l := m.live
	l.round++
	l.book.bad = nil
	if m.cfg.Fleet != nil {
		l.links.use(m.cfg.Fleet(), l.book)
	}
	m.cfg.Engine.EachSite(func(units []*alarms.UnitView) bool {
		for _, u := range units {
			m.fillUnit(u)
		}
		l.links.fill(units, l.round)
		return true
	})
	l.links.sweep(l.round)
	l.sweep()
	m.forgetPolls()
	m.fillRest(&l.rest)
	return l.book.families(out), l.book.bad
}

func (m *Metrics) fillRest(out *sheet) {
	out.begin()
	out.put(buildInfo, 1, runtime.Version(), m.cfg.Version)
	m.fillPoll(out)
	m.fillDatagrams(out)
	m.fillTrend(out)
	m.fillAlarm(out)
	m.fillWebhook(out)
	m.fillHistory(out)
	m.fillState(out)
	m.fillReload(out)
	out.end()
}

func (m *Metrics) fillUnit(u *alarms.UnitView) {
	l, id := m.live, u.Unit.ID
	s := l.units[id]
	if s == nil {
		s = &unitSheet{sheet: sheet{book: l.book}}
		l.units[id] = s
	}
	state := ""
	if m.cfg.Baselines != nil {
		state = m.cfg.Baselines.State(id)
	}
	s.round = l.round
	s.fill(u, m.pollsOf(u), state)
}

// sweep drops the units that are no longer in the fleet.
func (l *live) sweep() {
	gone := false
	for id, s := range l.units {
		if s.round != l.round {
			s.drop()
			delete(l.units, id)
			gone = true
		}
	}
	if gone {
		l.book.forget()
	}
}
