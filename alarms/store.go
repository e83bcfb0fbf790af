package alarms

import (
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"
)

// roundStore hands rounds to the commit hook and keeps those it refused.
type roundStore struct {
	write func(Round) error
	log   *zap.Logger

	mu      sync.Mutex
	backlog Round // not stored yet; no changes: nothing
}

func (s *roundStore) commit(now time.Time, changes []Change) {
	if s.write == nil {
		return
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	failing := len(s.backlog.Changes) > 0
	r := s.backlog.merge(newRound(now, changes))
	if err := s.write(r); err != nil {
		if !failing {
			s.log.Error("alarms not stored, going on", zap.Error(err))
		}
		s.backlog = r
		return
	}
	if failing {
		s.log.Info("alarms stored again", zap.Int("changes", len(r.Changes)))
	}
	s.backlog = Round{}
}

// retry offers the backlog again.
func (s *roundStore) retry(now time.Time) {
	if s.waiting() > 0 {
		s.commit(now, nil)
	}
}

func (s *roundStore) waiting() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return len(s.backlog.Changes)
}

func newRound(now time.Time, changes []Change) Round {
	r := Round{At: utc(now), Changes: changes}
	newest := make(map[string]int, len(changes))
	for i, c := range changes {
		newest[c.Alarm.ID] = i
		if i == 0 {
			r.Site = c.Alarm.Site
		} else if c.Alarm.Site != r.Site {
			r.Site = ""
		}
	}
	for i, c := range changes {
		if newest[c.Alarm.ID] == i && c.Kind != Purged {
			r.Alarms = append(r.Alarms, c.Alarm)
		}
	}
	return r
}

// merge returns the round that does what r and then next do.
func (r Round) merge(next Round) Round {
	if len(r.Changes) == 0 {
		return next
	}
	return newRound(next.At, slices.Concat(r.Changes, next.Changes))
}

// subscribers tells whoever wants to know that something changed.
type subscribers struct {
	version atomic.Uint64
	mu      sync.Mutex
	chans   map[chan struct{}]bool
}

func (s *subscribers) add() (<-chan struct{}, func()) {
	ch := make(chan struct{}, 1)
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.chans == nil {
		s.chans = map[chan struct{}]bool{}
	}
	s.chans[ch] = true
	return ch, func() {
		s.mu.Lock()
		defer s.mu.Unlock()
		delete(s.chans, ch)
	}
}

func (s *subscribers) signal() {
	s.version.Add(1)
	s.mu.Lock()
	defer s.mu.Unlock()
	for ch := range s.chans {
		select {
		case ch <- struct{}{}:
		default:
		}
	}
}
