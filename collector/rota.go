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
	silences int  // probes in a row that stayed without an answer
	dead     bool // waits and runs among the units that stay silent
	again    bool // hastened while running
	gone     bool // no longer in the fleet
	life     *lifetime
}

// deadAfter is how many probes in a row must stay without an answer before a
// unit waits among the dead ones.
const deadAfter = 3

// A crowd is turns that compete for the same room.
type crowd struct {
	perSite, inAll int
	waiting        []*turn // due turns in order of arrival
	sites          map[string]int
	running        int
}

// A rota decides which unit is polled next. Units that stay silent hold their
// place for long, so they have a room of their own, an eighth of that of the
// others, and cannot slow these. It has no goroutine, clock or lock: the
// Poller's loop owns it.
type rota struct {
	turns          map[string]*turn
	due            dueHeap
	addresses      map[string]bool
	healthy, quiet crowd
}

func newRota(perSite, inAll int) *rota {
	return &rota{turns: map[string]*turn{}, addresses: map[string]bool{},
		healthy: crowd{perSite: perSite, inAll: inAll, sites: map[string]int{}},
		quiet:   crowd{perSite: max(perSite/4, 1), inAll: max(inAll/8, 1), sites: map[string]int{}}}
}

// crowdOf is where a turn waits and runs.
func (r *rota) crowdOf(t *turn) *crowd {
	if t.dead {
		return &r.quiet
	}
	return &r.healthy
}

// wait lets a turn wait for its start.
func (r *rota) wait(t *turn) {
	t.waiting, t.dead = true, t.silences >= deadAfter
	c := r.crowdOf(t)
	c.waiting = append(c.waiting, t)
}

// replace takes over a new fleet. Units that stay keep what is known of them;
// new ones begin within the first round.
func (r *rota) replace(turns []*turn, now time.Time) {
	old := r.turns
	r.turns = make(map[string]*turn, len(turns))
	r.due = r.due[:0]
	r.healthy.waiting, r.quiet.waiting = r.healthy.waiting[:0], r.quiet.waiting[:0]
	first := time.Duration(len(turns)) * time.Second / firstRound
	for _, t := range turns {
		r.turns[t.unit.ID] = t
		if was, ok := old[t.unit.ID]; ok {
			t.life, t.silences = was.life, was.silences
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

// hasten makes a unit due at once. Whoever asks for it has a reason to think
// that it answers.
func (r *rota) hasten(unit string, now time.Time) {
	t, ok := r.turns[unit]
	switch {
	case !ok || t.waiting:
	case t.running:
		t.again = true
	default:
		t.due, t.silences = now, 0
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
		r.wait(t)
	}
	return missed
}

// start takes the first waiting turn that may begin, or nil.
func (r *rota) start() *turn {
	if t := r.startOf(&r.healthy); t != nil {
		return t
	}
	return r.startOf(&r.quiet)
}

func (r *rota) startOf(c *crowd) *turn {
	if c.running >= c.inAll {
		return nil
	}
	for i, t := range c.waiting {
		if r.addresses[t.unit.Address] || c.sites[t.unit.Site] >= c.perSite {
			continue
		}
		c.waiting = append(c.waiting[:i], c.waiting[i+1:]...)
		t.waiting, t.running = false, true
		r.addresses[t.unit.Address] = true
		c.sites[t.unit.Site]++
		c.running++
		return t
	}
	return nil
}

// finish frees what a turn held; silent tells that nobody answered.
func (r *rota) finish(t *turn, silent bool) {
	t.running = false
	delete(r.addresses, t.unit.Address)
	c := r.crowdOf(t)
	if c.sites[t.unit.Site]--; c.sites[t.unit.Site] == 0 {
		delete(c.sites, t.unit.Site)
	}
	c.running--
	if t.silences++; !silent {
		t.silences = 0
	}
	if t.again && !t.gone {
		t.again = false
		r.wait(t)
	}
}

// idle returns how long nothing falls due.
func (r *rota) idle(now time.Time) time.Duration {
	if len(r.due) == 0 {
		return time.Hour
	}
	return max(r.due[0].due.Sub(now), 0)
}
