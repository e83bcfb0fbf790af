package alarms

import (
	"sync"
	"sync/atomic"
)

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
