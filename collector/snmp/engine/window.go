package engine

import (
	"errors"
	"math/bits"
	"math/rand/v2"
	"net/netip"
	"time"
)

// MaxWindow is how many questions can be under way at one socket: it leaves ten
// bits of an id to chance.
const MaxWindow = 1 << 20

// An id is bit 30, a number that cannot be guessed, and the slot: as an INTEGER
// it always has four octets (X.690 8.3.2), so that a message is a template in
// which it is patched, and an answer to the slot's question before does not
// fit.
const idMark = 1 << 30

// Crowds of questions: the healthy and those whose units stayed silent.
const (
	healthy = iota
	silent
	crowds
)

func crowdOf(q *Question) int {
	if q.Silent {
		return silent
	}
	return healthy
}

// A slot is one question under way. Slots that wait for an answer form a list
// in the order of their deadlines.
type slot struct {
	question   *Question // nil: free
	network    error     // what the network said of the last try
	due        time.Duration
	id         int32
	tries      int16
	listed     bool
	prev, next int32 // in the list
}

// An ended question and how it ended.
type ended struct {
	question *Question
	err      error
}

// A window is the questions of one socket: those that wait and those under
// way. It has no clock, lock or goroutine; times are measured from the start of
// the engine.
type window struct {
	timeout  time.Duration
	tries    int
	room     [crowds]int // questions that may be under way
	under    [crowds]int // that are
	waiting  [crowds]queue
	slots    []slot // and behind them the head of the list of those that wait for an answer
	slotBits int
	free     []int32
	again    []int32 // ids whose message is to be sent anew
	places   places
	over     []ended // since the last call of takeOver
}

func newWindow(timeout time.Duration, tries, healthyRoom, silentRoom int) *window {
	n := healthyRoom + silentRoom
	w := &window{timeout: timeout, tries: tries, room: [crowds]int{healthyRoom, silentRoom},
		slots: make([]slot, n+1), slotBits: bits.Len(uint(n)), free: make([]int32, n), places: newPlaces(n)}
	for i := range w.free {
		w.free[i] = int32(n - 1 - i)
	}
	w.slots[n].prev, w.slots[n].next = int32(n), int32(n)
	return w
}

// add lets a question wait for a slot.
func (w *window) add(q *Question) {
	q.state = waiting
	w.waiting[crowdOf(q)].push(q)
}

// next returns the slot whose message is to be sent now, false when there is
// none.
func (w *window) next() (int32, bool) {
	for k := len(w.again); k > 0; k = len(w.again) {
		id := w.again[k-1]
		w.again = w.again[:k-1]
		if s, ok := w.find(id); ok { // else it has ended meanwhile
			return s, true
		}
	}
	for crowd := range crowds {
		if w.under[crowd] >= w.room[crowd] || w.waiting[crowd].empty() {
			continue
		}
		s := w.free[len(w.free)-1]
		w.free = w.free[:len(w.free)-1]
		w.under[crowd]++
		q := w.waiting[crowd].pop()
		q.state, q.slot = underWay, s
		w.slots[s] = slot{question: q}
		w.places.put(q.To, s)
		w.renew(s)
		return s, true
	}
	return 0, false
}

// renew gives a slot a new id.
func (w *window) renew(s int32) {
	w.slots[s].id = idMark | int32(rand.Uint32()<<w.slotBits)&(idMark-1) | s
}

// sent starts the wait for the answer to a message.
func (w *window) sent(s int32, now time.Duration) {
	w.slots[s].tries++
	w.slots[s].due = now + w.timeout
	w.list(s)
}

// find returns the slot that an id names, false when no question of that id is
// under way.
func (w *window) find(id int32) (int32, bool) {
	s := id & (1<<w.slotBits - 1)
	if int(s) >= len(w.slots) || w.slots[s].question == nil || w.slots[s].id != id {
		return 0, false
	}
	return s, true
}

// at returns the slot of a question to an address, false when there is none.
func (w *window) at(peer netip.AddrPort) (int32, bool) {
	for s := w.places.first(peer); s >= 0; s = w.places.next[s] {
		if w.slots[s].question.To == peer {
			return s, true
		}
	}
	return 0, false
}

// judged takes the verdict of a Dialect on an answer to a slot's question.
func (w *window) judged(s int32, v Verdict) {
	switch v {
	case Taken:
		w.end(s, nil)
	case Failed:
		w.end(s, faultOf(w.slots[s].question))
	case Again:
		w.unlist(s)
		w.slots[s].tries = 0
		w.renew(s)
		w.again = append(w.again, w.slots[s].id)
	}
}

func faultOf(q *Question) error {
	if err := q.Dialect.Fault(); err != nil {
		return err
	}
	return ErrSilent
}

// undelivered takes note of what the network says of a slot's message. final
// means that nothing can come any more of this try.
func (w *window) undelivered(s int32, err error, final bool) {
	w.slots[s].network = &Undelivered{err}
	if final && w.slots[s].listed {
		w.unlist(s)
		w.tried(s)
	}
}

// tried sends a slot's message anew or, after the last try, ends it.
func (w *window) tried(s int32) {
	x := &w.slots[s]
	if int(x.tries) < w.tries {
		w.again = append(w.again, x.id)
		return
	}
	w.end(s, errors.Join(ErrSilent, x.question.Dialect.Fault(), x.network))
}

// end frees a slot.
func (w *window) end(s int32, err error) {
	w.unlist(s)
	q := w.slots[s].question
	w.places.remove(q.To, s)
	w.slots[s].question, w.slots[s].network = nil, nil
	w.free = append(w.free, s)
	w.under[crowdOf(q)]--
	w.finish(q, err)
}

func (w *window) finish(q *Question, err error) {
	q.state = idle
	w.over = append(w.over, ended{q, err})
}

// cancel ends a question wherever it is.
func (w *window) cancel(q *Question) {
	switch q.state {
	case waiting:
		w.waiting[crowdOf(q)].remove(q)
		w.finish(q, ErrCancelled)
	case underWay:
		w.end(q.slot, ErrCancelled)
	case idle:
		q.cancelled = true
	}
}

// expire ends the tries that have waited long enough.
func (w *window) expire(now time.Duration) {
	for s, ok := w.first(); ok && w.slots[s].due <= now; s, ok = w.first() {
		w.unlist(s)
		w.tried(s)
	}
}

// idle returns how long nothing expires.
func (w *window) idle(now time.Duration) time.Duration {
	if s, ok := w.first(); ok {
		return max(w.slots[s].due-now, 0)
	}
	return time.Hour
}

// abort ends everything.
func (w *window) abort(err error) {
	for s := range w.slots {
		if w.slots[s].question != nil {
			w.end(int32(s), err)
		}
	}
	for crowd := range crowds {
		for q := w.waiting[crowd].pop(); q != nil; q = w.waiting[crowd].pop() {
			w.finish(q, err)
		}
	}
	w.again = nil
}

// takeOver moves what has ended to dst.
func (w *window) takeOver(dst []ended) []ended {
	dst = append(dst, w.over...)
	clear(w.over)
	w.over = w.over[:0]
	return dst
}

// first returns the slot whose deadline is the next.
func (w *window) first() (int32, bool) {
	head := int32(len(w.slots) - 1)
	s := w.slots[head].next
	return s, s != head
}

// list puts a slot behind all others: all wait equally long.
func (w *window) list(s int32) {
	head := int32(len(w.slots) - 1)
	last := w.slots[head].prev
	w.slots[s].prev, w.slots[s].next, w.slots[s].listed = last, head, true
	w.slots[last].next, w.slots[head].prev = s, s
}

func (w *window) unlist(s int32) {
	x := &w.slots[s]
	if x.listed {
		w.slots[x.prev].next, w.slots[x.next].prev = x.next, x.prev
		x.listed = false
	}
}
