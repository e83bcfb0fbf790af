package collector

import (
	"container/heap"
	"time"
)

// A turn is one unit's place in the rota.
type turn struct {
	unit     Unit
	schedule Schedule
	place    float64 // in the crowd, see Schedule.NextAt
	due      time.Time
	heapAt   int
	waiting  bool // due, not yet started
	running  bool
	again    bool // hastened while running
	gone     bool // no longer in the fleet
	life     *lifetime
}

// A rota decides which unit is polled next. It has no goroutine, clock or
// lock: the Poller's loop owns it.
type rota struct {
	perSite, inAll int
	turns          map[string]*turn
	due            dueHeap
	waiting        []*turn // due turns in order of arrival
	sites          map[string]int
	addresses      map[string]bool
	running        int
}

func newRota(perSite, inAll int) *rota {
	return &rota{perSite: perSite, inAll: inAll, turns: map[string]*turn{}, sites: map[string]int{}, addresses: map[string]bool{}}
}

// replace takes over a new fleet. Units that stay keep what is known of them;
// new ones begin within the first round.
func (r *rota) replace(turns []*turn, now time.Time) {
	old := r.turns
	r.turns = make(map[string]*turn, len(turns))
	r.due = r.due[:0]
	r.waiting = r.waiting[:0]
	first := time.Duration(len(turns)) * time.Second / firstRound
	for _, t := range turns {
		r.turns[t.unit.ID] = t
		if was, ok := old[t.unit.ID]; ok {
			t.life = was.life
			t.due = t.schedule.NextAt(now, t.place)
		} else {
			t.due = now.Add(time.Duration(t.place * float64(min(first, t.schedule.Period(now)))))
		}
		heap.Push(&r.due, t)
	}
	for _, was := range old {
		was.gone = true
	}
}

// hasten makes a unit due at once.
func (r *rota) hasten(unit string, now time.Time) {
	t, ok := r.turns[unit]
	switch {
	case !ok || t.waiting:
	case t.running:
		t.again = true
	default:
		t.due = now
		heap.Fix(&r.due, t.heapAt)
	}
}

// wake moves turns that are due to the waiting list, gives each its next time
// and returns how many turns fell due while the one before had not ended.
func (r *rota) wake(now time.Time) (missed uint64) {
	for len(r.due) > 0 && !r.due[0].due.After(now) {
		t := r.due[0]
		t.due = t.schedule.NextAt(now, t.place)
		heap.Fix(&r.due, 0)
		if t.waiting || t.running {
			missed++
			continue
		}
		t.waiting = true
		r.waiting = append(r.waiting, t)
	}
	return missed
}

// start takes the first waiting turn that may begin, or nil.
func (r *rota) start() *turn {
	if r.running >= r.inAll {
		return nil
	}
	for i, t := range r.waiting {
		if r.addresses[t.unit.Address] || r.sites[t.unit.Site] >= r.perSite {
			continue
		}
		r.waiting = append(r.waiting[:i], r.waiting[i+1:]...)
		t.waiting, t.running = false, true
		r.addresses[t.unit.Address] = true
		r.sites[t.unit.Site]++
		r.running++
		return t
	}
	return nil
}

// finish frees what a turn held.
func (r *rota) finish(t *turn) {
	t.running = false
	delete(r.addresses, t.unit.Address)
	if r.sites[t.unit.Site]--; r.sites[t.unit.Site] == 0 {
		delete(r.sites, t.unit.Site)
	}
	r.running--
	if t.again && !t.gone {
		t.again = false
		t.waiting = true
		r.waiting = append(r.waiting, t)
	}
}

// idle returns how long nothing falls due.
func (r *rota) idle(now time.Time) time.Duration {
	if len(r.due) == 0 {
		return time.Hour
	}
	return max(r.due[0].due.Sub(now), 0)
}
