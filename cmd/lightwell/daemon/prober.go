package daemon

import (
	"context"
	"errors"
	"sync"

	"lightwell/collector"
	"lightwell/collector/snmp"
	"lightwell/collector/snmp/engine"
)

// swapProber hands probes to the client in force, which a reload replaces.
// The old client is closed when its last probe has ended.
type swapProber struct {
	mu     sync.RWMutex
	now    *countedClient
	before engine.Stats // of the clients that were in force before
}

type countedClient struct {
	*snmp.Client
	probes sync.WaitGroup
}

var _ collector.Prober = (*swapProber)(nil)

var errNoClient = errors.New("the daemon is stopping")

// Probe asks through the client in force.
func (s *swapProber) Probe(ctx context.Context, u collector.Unit) ([]collector.Reading, error) {
	s.mu.RLock()
	c := s.now
	if c == nil {
		s.mu.RUnlock()
		return nil, errNoClient
	}
	c.probes.Add(1)
	s.mu.RUnlock()
	defer c.probes.Done()
	return c.Client.Probe(ctx, u)
}

// swap puts client in force; nil ends probing.
func (s *swapProber) swap(client *snmp.Client) {
	var next *countedClient
	if client != nil {
		next = &countedClient{Client: client}
	}
	s.mu.Lock()
	old := s.now
	s.now = next
	if old != nil {
		s.before = s.before.Plus(old.Stats())
	}
	s.mu.Unlock()
	if old != nil {
		old.probes.Wait()
		_ = old.Close() // its sockets are gone, come what may
	}
}

// datagrams counts those of all clients since the start.
func (s *swapProber) datagrams() engine.Stats {
	s.mu.RLock()
	defer s.mu.RUnlock()
	if s.now == nil {
		return s.before
	}
	return s.before.Plus(s.now.Stats())
}
