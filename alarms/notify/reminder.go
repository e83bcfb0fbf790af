package notify

import (
	"time"

	"go.uber.org/zap"

	"lightwell/alarms"
)

// reminder is an alarm that an endpoint is told of again and again until
// somebody acknowledges it.
type reminder struct {
	alarm alarms.Alarm
	seq   uint64 // of the last change
	count int    // reminders made
	next  time.Time
}

// observe keeps reminders in step with changes.
func (s *sender) observe(changes []alarms.Change, now time.Time) {
	if s.endpoint.Repeat <= 0 {
		return
	}
	for i := range changes {
		c := &changes[i]
		if c.Kind == alarms.Purged {
			s.forget(c.Alarm.ID)
		} else {
			s.remind(&c.Alarm, c.Seq, now)
		}
	}
}

// remind starts or renews the reminder of an alarm, or ends it when there is
// no more reason for one.
func (s *sender) remind(a *alarms.Alarm, seq uint64, now time.Time) {
	if !s.endpoint.reminds(a) {
		s.forget(a.ID)
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	r := s.reminders[a.ID]
	if r == nil {
		r = &reminder{}
		s.reminders[a.ID] = r
	}
	r.alarm, r.seq, r.next = *a, seq, now.Add(s.endpoint.Repeat)
}

func (s *sender) forget(id string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.reminders, id)
}

// takeReminders returns those that a changed endpoint still has. The caller
// holds s.mu.
func (s *sender) takeReminders(e Endpoint) map[string]*reminder {
	out := map[string]*reminder{}
	for id, r := range s.reminders {
		if e.reminds(&r.alarm) {
			taken := *r // s may still be running
			out[id] = &taken
		}
	}
	return out
}

// repeat puts the reminders that are due into the outbox and returns when the
// next one is; zero: none.
func (s *sender) repeat(now time.Time) (next time.Time) {
	if s.endpoint.Repeat <= 0 {
		return time.Time{}
	}
	due, next := s.dueReminders(now)
	if len(due) == 0 {
		return next
	}
	waiting, err := s.waiting()
	if err != nil {
		s.cfg.Log.Error("read webhook outbox", zap.String("endpoint", s.endpoint.Name), zap.Error(err))
		return next
	}
	var entries []Entry
	for _, r := range due {
		if waiting[r.alarm.ID] {
			continue // a message of this alarm is still on its way
		}
		if e, ok := s.reminderEntry(r, now); ok {
			entries = append(entries, e)
		}
	}
	s.countDead(entries, now)
	if err := s.cfg.Outbox.Append(entries); err != nil {
		s.cfg.Log.Error("write webhook outbox", zap.String("endpoint", s.endpoint.Name), zap.Error(err))
	}
	return next
}

// dueReminders returns copies of those due and moves them on.
func (s *sender) dueReminders(now time.Time) (due []reminder, next time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, r := range s.reminders {
		if !r.next.After(now) {
			r.next = now.Add(s.endpoint.Repeat)
			due = append(due, *r)
		}
		next = earliest(next, r.next)
	}
	return due, next
}

// waiting returns the alarms that have a pending message.
func (s *sender) waiting() (map[string]bool, error) {
	entries, err := s.cfg.Outbox.List(s.endpoint.Name)
	out := map[string]bool{}
	for _, e := range entries {
		if e.State == Pending {
			out[e.Alarm] = true
		}
	}
	return out, err
}

// reminderEntry makes the message, from the alarm as it stands now.
func (s *sender) reminderEntry(r reminder, now time.Time) (Entry, bool) {
	a, ok := r.alarm, true
	if s.cfg.Current != nil {
		a, ok = s.cfg.Current(r.alarm.ID)
	}
	n := s.counted(r, ok && s.endpoint.reminds(&a))
	if n == 0 {
		return Entry{}, false
	}
	m := reminderMessage(s.cfg.Source, s.endpoint.Name, r.seq, &a, n, now)
	body, err := s.body(&m)
	return s.entry(&m, a.ID, body, err, now), true
}

// counted returns the number of the reminder that is made now, or zero when
// the alarm changed meanwhile; with stands false it ends the reminder.
func (s *sender) counted(r reminder, stands bool) int {
	s.mu.Lock()
	defer s.mu.Unlock()
	kept := s.reminders[r.alarm.ID]
	switch {
	case kept == nil || kept.seq != r.seq:
		return 0
	case !stands:
		delete(s.reminders, r.alarm.ID)
		return 0
	}
	kept.count++
	return kept.count
}
