package engine

import (
	"errors"
	"time"
)

// An id is bit 30, ten bits of generation and twenty of slot: as an INTEGER it
// always has four octets (X.690 8.3.2), so that a message is a template in which
// it is patched, and an answer to the slot's question before does not fit.
const (
	slotBits       = 20
	generationMask = 1<<10 - 1
	// MaxWindow is how many questions can be under way at one socket.
	MaxWindow = 1 << slotBits
)

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

// A slot is one question under way.
type slot struct {
	question *Question // nil: free
	id       int32
	tries    int
	due      time.Duration // when the try under way has waited long enough
}

// expiry is an entry of the queue of timeouts.
type expiry struct {
	slot int32
	id   int32
	due  time.Duration
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
	timeout    time.Duration
	tries      int
	room       [crowds]int // questions that may be under way
	under      [crowds]int // that are
	waiting    [crowds]queue
	slots      []slot
	free       []int32
	again      []expiry // slots whose message is to be sent anew; due is not used
	due        ring
	generation int32
	over       []ended // since the last call of takeOver
}

func newWindow(timeout time.Duration, tries, healthyRoom, silentRoom int) *window {
	n := healthyRoom + silentRoom
	w := &window{timeout: timeout, tries: tries, room: [crowds]int{healthyRoom, silentRoom},
		slots: make([]slot, n), free: make([]int32, n)}
	for i := range w.free {
		w.free[i] = int32(n - 1 - i)
	}
	return w
}

// add lets a question wait for a slot.
func (w *window) add(q *Question) { w.waiting[crowdOf(q)].push(q) }

// next returns the slot whose message is to be sent now, false when there is
// none.
func (w *window) next() (int32, bool) {
	for k := len(w.again); k > 0; k = len(w.again) {
		e := w.again[k-1]
		w.again = w.again[:k-1]
		if _, ok := w.find(e.id); ok { // else it has ended meanwhile
			return e.slot, true
		}
	}
	for crowd := range crowds {
		if w.under[crowd] >= w.room[crowd] || w.waiting[crowd].empty() {
			continue
		}
		s := w.free[len(w.free)-1]
		w.free = w.free[:len(w.free)-1]
		w.under[crowd]++
		w.slots[s] = slot{question: w.waiting[crowd].pop()}
		w.renew(s)
		return s, true
	}
	return 0, false
}

// renew gives a slot a new id.
func (w *window) renew(s int32) {
	if w.generation = (w.generation + 1) & generationMask; w.generation == 0 {
		w.generation = 1
	}
	w.slots[s].id = 1<<30 | w.generation<<slotBits | s
}

// sent starts the wait for the answer to a message.
func (w *window) sent(s int32, now time.Duration) {
	x := &w.slots[s]
	x.tries++
	x.due = now + w.timeout
	w.due.push(expiry{s, x.id, x.due})
}

// find returns the slot that an id names, false when no question of that id is
// under way.
func (w *window) find(id int32) (int32, bool) {
	s := id & (MaxWindow - 1)
	if int(s) >= len(w.slots) || w.slots[s].question == nil || w.slots[s].id != id {
		return 0, false
	}
	return s, true
}

// judged takes the verdict of a Dialect on an answer to a slot's question.
func (w *window) judged(s int32, v Verdict) {
	switch v {
	case Taken:
		w.end(s, nil)
	case Failed:
		w.end(s, faultOf(w.slots[s].question))
	case Again:
		w.slots[s].tries = 0
		w.renew(s)
		w.again = append(w.again, expiry{slot: s, id: w.slots[s].id})
	}
}

func faultOf(q *Question) error {
	if err := q.Dialect.Fault(); err != nil {
		return err
	}
	return ErrSilent
}

// end frees a slot.
func (w *window) end(s int32, err error) {
	q := w.slots[s].question
	w.slots[s].question = nil
	w.free = append(w.free, s)
	w.under[crowdOf(q)]--
	w.over = append(w.over, ended{q, err})
}

// expire ends the tries that have waited long enough. Their slots are sent
// anew or, after the last try, end.
func (w *window) expire(now time.Duration) {
	for {
		e, ok := w.due.first()
		if !ok {
			return
		}
		x := &w.slots[e.slot]
		if x.question != nil && x.id == e.id && x.due == e.due {
			if e.due > now {
				return
			}
			if x.tries < w.tries {
				w.again = append(w.again, e)
			} else {
				w.end(e.slot, errors.Join(ErrSilent, x.question.Dialect.Fault()))
			}
		}
		w.due.pop()
	}
}

// idle returns how long nothing expires.
func (w *window) idle(now time.Duration) time.Duration {
	if e, ok := w.due.first(); ok {
		return max(e.due-now, 0)
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
			w.over = append(w.over, ended{q, err})
		}
	}
	w.again, w.due = nil, ring{}
}

// takeOver moves what has ended to dst.
func (w *window) takeOver(dst []ended) []ended {
	dst = append(dst, w.over...)
	clear(w.over)
	w.over = w.over[:0]
	return dst
}

// A ring is a queue of expiries in the order of their times.
type ring struct {
	all  []expiry
	from int
}

func (r *ring) push(e expiry) {
	if r.from > len(r.all)/2 && len(r.all) == cap(r.all) {
		r.all = r.all[:copy(r.all, r.all[r.from:])]
		r.from = 0
	}
	r.all = append(r.all, e)
}

func (r *ring) first() (expiry, bool) {
	if r.from == len(r.all) {
		return expiry{}, false
	}
	return r.all[r.from], true
}

func (r *ring) pop() {
	if r.from++; r.from == len(r.all) {
		r.all, r.from = r.all[:0], 0
	}
}
