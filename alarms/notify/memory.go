package notify

import (
	"slices"
	"sync"
	"time"
)

// DefaultOutboxSize is the bound per endpoint of an outbox in memory. A
// message takes about 2 kB.
const DefaultOutboxSize = 4096

// MemoryOutbox is an Outbox that forgets everything when the program ends. It
// is bounded per endpoint, so that a dead receiver takes nothing from the
// others: when full, the oldest dead entry makes room, and after that the
// oldest pending one, because the newest state of an alarm matters most.
type MemoryOutbox struct {
	size  int
	mu    sync.Mutex
	boxes map[string]*box
}

type box struct {
	entries []*Entry // pending and dead, in order
	index   map[string]*Entry
	pending int
	dropped uint64
}

var _ Outbox = (*MemoryOutbox)(nil)

// NewMemoryOutbox returns an empty outbox with room for size entries per
// endpoint; below one it is DefaultOutboxSize.
func NewMemoryOutbox(size int) *MemoryOutbox {
	if size < 1 {
		size = DefaultOutboxSize
	}
	return &MemoryOutbox{size: size, boxes: map[string]*box{}}
}

// Append implements Outbox. It never fails.
func (m *MemoryOutbox) Append(entries []Entry) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, e := range entries {
		b := m.boxes[e.Endpoint]
		if b == nil {
			b = &box{index: map[string]*Entry{}}
			m.boxes[e.Endpoint] = b
		}
		if b.index[e.ID] != nil {
			continue
		}
		if len(b.entries) >= m.size {
			b.makeRoom()
		}
		b.entries = append(b.entries, &e)
		b.index[e.ID] = &e
		if e.State == Pending {
			b.pending++
		}
	}
	return nil
}

// Due implements Outbox. It never fails.
func (m *MemoryOutbox) Due(endpoint string, now time.Time, limit int) (due []Entry, next time.Time, err error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	b := m.boxes[endpoint]
	if b == nil {
		return nil, next, nil
	}
	seen := map[string]bool{}
	for _, e := range b.entries {
		if len(due) >= limit {
			break
		}
		if e.State != Pending || seen[e.Alarm] {
			continue
		}
		seen[e.Alarm] = true
		switch {
		case !e.NextAttempt.After(now):
			due = append(due, *e)
		case next.IsZero() || e.NextAttempt.Before(next):
			next = e.NextAttempt
		}
	}
	return due, next, nil
}

// Update implements Outbox. It never fails.
func (m *MemoryOutbox) Update(entries ...Entry) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	for _, e := range entries {
		b := m.boxes[e.Endpoint]
		if b == nil || b.index[e.ID] == nil {
			continue
		}
		b.update(b.index[e.ID], e)
	}
	return nil
}

// List implements Outbox. It never fails.
func (m *MemoryOutbox) List(endpoint string) ([]Entry, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	b := m.boxes[endpoint]
	if b == nil {
		return nil, nil
	}
	out := make([]Entry, len(b.entries))
	for i, e := range b.entries {
		out[i] = *e
	}
	return out, nil
}

// Count implements Outbox. It never fails.
func (m *MemoryOutbox) Count(endpoint string) (Count, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	b := m.boxes[endpoint]
	if b == nil {
		return Count{}, nil
	}
	c := Count{Pending: b.pending, Dead: len(b.entries) - b.pending, Dropped: b.dropped}
	if i := b.oldest(Pending); i >= 0 {
		c.Oldest = b.entries[i].Created
	}
	return c, nil
}

func (b *box) oldest(s State) int {
	return slices.IndexFunc(b.entries, func(e *Entry) bool { return e.State == s })
}

func (b *box) makeRoom() {
	i := b.oldest(Dead)
	if i < 0 {
		i = 0
		b.dropped++
	}
	b.remove(i)
}

func (b *box) remove(i int) {
	e := b.entries[i]
	if e.State == Pending {
		b.pending--
	}
	delete(b.index, e.ID)
	b.entries = slices.Delete(b.entries, i, i+1)
}

func (b *box) update(old *Entry, e Entry) {
	if e.State == Delivered {
		b.remove(slices.Index(b.entries, old))
		return
	}
	if old.State == Pending {
		b.pending--
	}
	if e.State == Pending {
		b.pending++
	}
	old.State, old.Attempts, old.NextAttempt, old.Reason = e.State, e.Attempts, e.NextAttempt, e.Reason
}
