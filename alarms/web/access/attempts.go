package access

import (
	"net/netip"
	"sync"
	"time"
)

// Limits of failed sign-ins. An address may fail MaxFailures times within
// FailureWindow of its first failure; then it is not heard until the window
// has passed. At most maxAddresses are remembered, the oldest forgotten first.
const (
	MaxFailures   = 10
	FailureWindow = time.Minute
	maxAddresses  = 4096
)

type failures struct {
	since time.Time
	count int
}

type attempts struct {
	mu   sync.Mutex
	seen map[netip.Addr]*failures
}

func (a *attempts) blocked(from netip.Addr, now time.Time) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	f := a.seen[from]
	if f == nil {
		return false
	}
	if now.Sub(f.since) >= FailureWindow {
		delete(a.seen, from)
		return false
	}
	return f.count >= MaxFailures
}

// failed counts a failure and tells whether it was the one too many.
func (a *attempts) failed(from netip.Addr, now time.Time) bool {
	a.mu.Lock()
	defer a.mu.Unlock()
	f := a.seen[from]
	if f == nil {
		if len(a.seen) >= maxAddresses {
			a.forgetOldest()
		}
		f = &failures{since: now}
		a.seen[from] = f
	}
	f.count++
	return f.count == MaxFailures
}

func (a *attempts) forgetOldest() {
	var oldest netip.Addr
	var since time.Time
	for addr, f := range a.seen {
		if since.IsZero() || f.since.Before(since) {
			oldest, since = addr, f.since
		}
	}
	delete(a.seen, oldest)
}
