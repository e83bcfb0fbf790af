package metrics

import (
	"maps"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// polls counts those of one unit.
type polls struct {
	total, failed uint64
	took          time.Duration // of the last
}

// pollCount is what ObservePoll has counted of a unit.
type pollCount struct {
	now, before polls     // with and without the last poll
	at          time.Time // when that started
}

// ObservePoll counts a poll. Its place is before the engine observes it: a
// scrape between both shows the poll in no sample of the unit yet.
func (m *Metrics) ObservePoll(p collector.Poll) {
	m.duration.Observe(p.Took.Seconds())
	m.mu.Lock()
	defer m.mu.Unlock()
	c := m.polls[p.Unit]
	if c == nil {
		c = &pollCount{}
		m.polls[p.Unit] = c
	}
	c.before, c.at = c.now, p.Started
	c.now.total++
	c.now.took = p.Took
	if p.Err != nil {
		c.now.failed++
	}
}

// pollsOf returns the counts up to the poll that the view tells of.
func (m *Metrics) pollsOf(u *alarms.UnitView) polls {
	m.mu.Lock()
	defer m.mu.Unlock()
	c := m.polls[u.Unit.ID]
	switch {
	case c == nil:
		return polls{}
	case c.at.After(u.Polled):
		return c.before
	}
	return c.now
}

// forgetPolls drops the counts of units that are not in the fleet.
func (m *Metrics) forgetPolls() {
	m.mu.Lock()
	defer m.mu.Unlock()
	maps.DeleteFunc(m.polls, func(id string, _ *pollCount) bool { return m.live.units[id] == nil })
}

func pollFamilies() []*family {
	return []*family{unitMissed}
}

func (m *Metrics) fillPoll(out *sheet) {
	if m.cfg.Missed != nil {
		out.put(unitMissed, float64(m.cfg.Missed()))
	}
}
