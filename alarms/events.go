package alarms

import (
	"fmt"
	"slices"
	"strings"
	"sync"
	"time"

	"lightwell/collector"
)

// EventKind says what happened. An event needs no action; what needs one is
// an alarm.
type EventKind string

// Kinds of events.
const (
	EventRestart     EventKind = "restart"
	EventMainsDip    EventKind = "mains-dip"
	EventWarmUpBegan EventKind = "warm-up-began"
	EventWarmUpEnded EventKind = "warm-up-ended"
	EventHoldBegan   EventKind = "hold-began"
	EventHoldEnded   EventKind = "hold-ended"
	EventChattering  EventKind = "chattering"
	EventFleet       EventKind = "fleet-changed"
	EventRuleFailed  EventKind = "rule-failed"
	EventFinding     EventKind = "finding"

	EventVisitBegan     EventKind = "visit-began"
	EventVisitEnded     EventKind = "visit-ended"
	EventVisitForgotten EventKind = "visit-forgotten" // it ended by itself
)

// An Event is a line of the log for people.
type Event struct {
	Time     time.Time `json:"time"`
	Site     string    `json:"site,omitempty"`
	Resource string    `json:"resource"`
	Kind     EventKind `json:"kind"`
	Text     string    `json:"text"`
}

// MaxEvents is how many events are kept; older ones are forgotten.
const MaxEvents = 2000

// eventLog is a ring of events. Safe for concurrent use.
type eventLog struct {
	tell func(Event) // nil: nobody
	mu   sync.Mutex
	ring []Event
	next int
}

func (l *eventLog) add(events ...Event) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, ev := range events {
		if l.tell != nil {
			l.tell(ev)
		}
		if len(l.ring) < MaxEvents {
			l.ring = append(l.ring, ev)
			continue
		}
		l.ring[l.next] = ev
		l.next = (l.next + 1) % MaxEvents
	}
}

// latest returns at most limit events, newest first; all for limit <= 0.
func (l *eventLog) latest(limit int) []Event {
	l.mu.Lock()
	defer l.mu.Unlock()
	n := len(l.ring)
	if limit <= 0 || limit > n {
		limit = n
	}
	out := make([]Event, limit)
	for i := range out {
		out[i] = l.ring[(l.next+n-1-i)%n]
	}
	return out
}

// Note adds an event that did not come from a poll.
func (e *Engine) Note(ev Event) {
	e.events.add(ev)
	e.subs.signal()
}

// Events returns the newest events, newest first; all that are kept for
// limit <= 0.
func (e *Engine) Events(limit int) []Event { return e.events.latest(limit) }

// dipWindow is how close restarts and supply flickers of several boxes must
// lie to count as one dip of the mains.
const dipWindow = time.Minute

// powerMark is a sign that a box lost its power for a moment.
type powerMark struct {
	box string // unit that answers for itself
	at  time.Time
}

// unitMarks is what was last seen of a unit, to find events.
type unitMarks struct {
	warming   bool
	supplyBad map[collector.Point]time.Time // since when
}

// notice finds the events in a poll that the view has just taken. The caller
// holds the site's lock.
func (u *unitState) notice(p collector.Poll) []Event {
	if p.Err != nil {
		return nil
	}
	var out []Event
	event := func(at time.Time, resource string, kind EventKind, text string) {
		out = append(out, Event{at, u.at.site.ID, resource, kind, text})
	}
	resource := "unit/" + u.view.Unit.ID
	if p.Restarted {
		at := u.view.StartedAt
		if at.IsZero() {
			at = p.Started
		}
		event(p.Started, resource, EventRestart, fmt.Sprintf("unit %s started anew at %s", u.view.Unit.ID, at.UTC().Format(time.TimeOnly)))
		u.at.power = append(u.at.power, powerMark{u.box(), at})
	}
	u.flickers(p)
	if text, at := u.at.mainsDip(); text != "" {
		event(at, "site/"+u.at.site.ID, EventMainsDip, text)
	}
	switch warming := u.warming(p.Started); {
	case warming && !u.seen.warming:
		event(p.Started, resource, EventWarmUpBegan, fmt.Sprintf("unit %s warms up", u.view.Unit.ID))
		u.seen.warming = true
	case !warming && u.seen.warming:
		event(p.Started, resource, EventWarmUpEnded, fmt.Sprintf("unit %s has warmed up", u.view.Unit.ID))
		u.seen.warming = false
	}
	return out
}

// box names the unit that the power of u belongs to: units read via another
// restart with it as far as polls can tell.
func (u *unitState) box() string {
	if u.view.Unit.Via != "" {
		return u.view.Unit.Via
	}
	return u.view.Unit.ID
}

// flickers marks supplies that were away and came back within dipWindow.
func (u *unitState) flickers(p collector.Poll) {
	for _, r := range p.Readings {
		if r.Point.Quantity != collector.SupplyState || r.Quality != collector.Good {
			continue
		}
		since, bad := u.seen.supplyBad[r.Point]
		switch good := r.State() == collector.StateGood; {
		case good && bad:
			delete(u.seen.supplyBad, r.Point)
			if r.Taken.Sub(since) <= dipWindow {
				u.at.power = append(u.at.power, powerMark{u.box(), since})
			}
		case !good && !bad:
			if u.seen.supplyBad == nil {
				u.seen.supplyBad = map[collector.Point]time.Time{}
			}
			u.seen.supplyBad[r.Point] = r.Taken
		}
	}
}

// warming tells whether the unit warms up: its laser says so or, where the
// laser says nothing, its heater is on soon after a start in the cold.
func (u *unitState) warming(now time.Time) bool {
	v, limits := u.view, u.view.Unit.Equipment.Limits
	if state, _, ok := v.Good(collector.Point{Quantity: collector.LaserState}); ok {
		return collector.LaserState.StateName(state) == collector.StateWarming
	}
	heater, _, ok := v.Good(collector.Point{Quantity: collector.HeaterState})
	if !ok || collector.HeaterState.StateName(heater) != collector.StateOn || v.StartedAt.IsZero() || limits.WarmUpBelowC == nil {
		return false
	}
	temp, _, hasTemp := v.Good(collector.Point{Quantity: collector.Temperature})
	return hasTemp && temp < *limits.WarmUpBelowC && now.Sub(v.StartedAt) <= limits.WarmUpMax
}

// mainsDip returns the text of a mains dip that was not told before: two or
// more boxes of the site within dipWindow.
func (s *siteState) mainsDip() (string, time.Time) {
	if len(s.power) < 2 {
		return "", time.Time{}
	}
	slices.SortStableFunc(s.power, func(a, b powerMark) int { return a.at.Compare(b.at) })
	newest := s.power[len(s.power)-1].at
	s.power = slices.DeleteFunc(s.power, func(m powerMark) bool { return newest.Sub(m.at) > time.Hour })
	for i, first := range s.power {
		var boxes []string
		for _, m := range s.power[i:] {
			if m.at.Sub(first.at) <= dipWindow && !slices.Contains(boxes, m.box) {
				boxes = append(boxes, m.box)
			}
		}
		if told := !first.at.After(s.dip.Add(dipWindow)); len(boxes) >= 2 && !told {
			s.dip = first.at
			return fmt.Sprintf("mains dip: %s lost power for a moment within %s", strings.Join(boxes, ", "), dipWindow), first.at
		}
	}
	return "", time.Time{}
}
