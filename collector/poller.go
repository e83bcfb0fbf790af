package collector

import (
	"container/heap"
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"
)

// PollerConfig configures a Poller.
type PollerConfig struct {
	Prober  Prober
	Sink    func(Poll) // takes every outcome; called from several goroutines, should return soon
	PerSite int        // probes under way at one site; 0: DefaultPerSite
	InAll   int        // probes under way in all; 0: DefaultInAll
	Log     *zap.Logger
}

// Defaults of a PollerConfig.
const (
	DefaultPerSite = 8    // a site's thin management line carries it without queueing
	DefaultInAll   = 4096 // enough for 100,000 units a minute when a third of them falls silent for 4 s each
)

// firstRound is how many units a second are started when the Poller begins,
// so that a fleet is known soon after the start and yet not asked in one gust.
const firstRound = 200

// A Poller reads every unit of a fleet on its schedule. At most one probe of
// an address is under way; a unit whose turn comes while its address is busy
// or its site at the limit waits, and a turn that is over before it could
// begin is dropped and counted.
type Poller struct {
	cfg     PollerConfig
	control chan func(*rota) // work for the goroutine of Run
	done    chan outcome     // finished probes
	missed  atomic.Uint64
	active  atomic.Int64
}

type outcome struct {
	turn   *turn
	silent bool
}

// NewPoller returns a Poller without a fleet.
func NewPoller(cfg PollerConfig) *Poller {
	if cfg.PerSite <= 0 {
		cfg.PerSite = DefaultPerSite
	}
	if cfg.InAll <= 0 {
		cfg.InAll = DefaultInAll
	}
	if cfg.Log == nil {
		cfg.Log = zap.NewNop()
	}
	return &Poller{cfg: cfg, control: make(chan func(*rota), 64), done: make(chan outcome, cfg.InAll)}
}

// SetFleet makes f the fleet to poll. Units that stay keep their place in the
// schedule. An error names each schedule that cannot be read; the old fleet
// then goes on. It may be called before or while Run runs.
func (p *Poller) SetFleet(f *Fleet) error {
	turns := make([]*turn, 0, len(f.Units))
	var errs []error
	for _, u := range f.Units {
		site, _ := f.Site(u.Site)
		s, err := ParseSchedule(u.Poll, site.Location)
		if err != nil {
			errs = append(errs, fmt.Errorf("unit %q: %w", u.ID, err))
			continue
		}
		turns = append(turns, &turn{unit: u, schedule: s, place: fraction(u.ID), life: &lifetime{}})
	}
	if err := errors.Join(errs...); err != nil {
		return err
	}
	p.control <- func(r *rota) { r.replace(turns, time.Now()) }
	return nil
}

// PollNow asks for a poll of a unit out of turn, and reports whether the
// request was taken; it is not when too many wait already. A unit that is
// being polled is polled once more.
func (p *Poller) PollNow(unit string) bool {
	select {
	case p.control <- func(r *rota) { r.hasten(unit, time.Now()) }:
		return true
	default:
		return false
	}
}

// Missed returns how many turns were dropped because the turn before had not
// ended.
func (p *Poller) Missed() uint64 { return p.missed.Load() }

// Active returns how many probes are under way.
func (p *Poller) Active() int { return int(p.active.Load()) }

// Run polls until ctx ends. It returns after the probes under way have
// ended, so that the caller may close the sink next.
func (p *Poller) Run(ctx context.Context) error {
	r := newRota(p.cfg.PerSite, p.cfg.InAll)
	var probes sync.WaitGroup
	defer probes.Wait()
	timer := time.NewTimer(0)
	defer timer.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case change := <-p.control:
			change(r)
		case o := <-p.done:
			r.finish(o.turn, o.silent)
		case <-timer.C:
		}
		now := time.Now()
		p.missed.Add(r.wake(now))
		for t := r.start(); t != nil; t = r.start() {
			p.active.Add(1)
			probes.Go(func() { p.probe(ctx, t) })
		}
		timer.Reset(r.idle(now))
	}
}

func (p *Poller) probe(ctx context.Context, t *turn) {
	var err error
	defer func() {
		p.active.Add(-1)
		select {
		case p.done <- outcome{t, errors.Is(err, ErrNoAnswer)}:
		case <-ctx.Done():
		}
	}()
	started := time.Now()
	var readings []Reading
	readings, err = p.cfg.Prober.Probe(ctx, t.unit)
	if ctx.Err() != nil {
		return // stopped by us: says nothing about the unit
	}
	poll := Poll{Unit: t.unit.ID, Started: started.UTC().Round(0), Took: time.Since(started), Readings: readings, Err: err}
	if err != nil {
		poll.Readings = nil
	} else {
		poll.Restarted = t.life.restarted(readings)
	}
	p.cfg.Log.Debug("polled", zap.String("unit", poll.Unit), zap.Duration("took", poll.Took), zap.Error(err))
	p.cfg.Sink(poll)
}

// lifetime remembers a unit's last uptime. It outlives a reload.
type lifetime struct {
	mu     sync.Mutex
	uptime time.Duration
	taken  time.Time
}

func (l *lifetime) restarted(readings []Reading) bool {
	for _, r := range readings {
		if r.Point.Quantity != Uptime || r.Quality != Good {
			continue
		}
		l.mu.Lock()
		defer l.mu.Unlock()
		before, taken := l.uptime, l.taken
		l.uptime, l.taken = time.Duration(r.Value*float64(time.Second)), r.Taken
		return !taken.IsZero() && Restarted(before, l.uptime, l.taken.Sub(taken))
	}
	return false
}

// fraction gives each unit a fixed place in [0, 1), so that polls of a fleet
// are spread evenly and stay where they are over a restart.
func fraction(unit string) float64 {
	h := fnv.New64a()
	h.Write([]byte(unit))
	x := h.Sum64()
	x = (x ^ x>>33) * 0xff51afd7ed558ccd // FNV alone leaves similar names side by side
	x = (x ^ x>>33) * 0xc4ceb9fe1a85ec53
	return float64((x^x>>33)>>11) / (1 << 53)
}

// dueHeap orders turns by the time they are due.
type dueHeap []*turn

func (h dueHeap) Len() int           { return len(h) }
func (h dueHeap) Less(i, j int) bool { return h[i].due.Before(h[j].due) }
func (h dueHeap) Swap(i, j int) {
	h[i], h[j] = h[j], h[i]
	h[i].heapAt, h[j].heapAt = i, j
}

func (h *dueHeap) Push(x any) {
	t := x.(*turn)
	t.heapAt = len(*h)
	*h = append(*h, t)
}

func (h *dueHeap) Pop() any {
	last := len(*h) - 1
	t := (*h)[last]
	(*h)[last] = nil
	*h = (*h)[:last]
	return t
}

var _ heap.Interface = (*dueHeap)(nil)
