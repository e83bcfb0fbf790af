package alarms

import (
	"fmt"
	"maps"
	"slices"
	"sync"
	"time"

	"go.uber.org/zap"
)

// A Round is what one step of the engine or of a person changed: to be stored
// whole or not at all. Rounds come in the order of their changes.
type Round struct {
	Site         string // empty: several sites
	At           time.Time
	Changes      []Change
	Alarms       []Alarm          // each that changed, as it is now; one that was purged is not among them
	Purged       []string         // ids of those
	Evidence     map[Key]Evidence // that changed; what EngineConfig.Evidence needs after a restart
	EvidenceGone []Key            // that is no longer needed
	Shelves      *[]Shelf         // those with criteria, as they are now; nil: as they were
}

// proof is what changed in the evidence of a site.
type proof struct {
	site string
	kept map[Key]Evidence
	gone []Key
}

func (p *proof) empty() bool { return len(p.kept) == 0 && len(p.gone) == 0 }

// proof returns the evidence that this round changed.
func (r *round) proof() proof {
	p := proof{site: r.site}
	for _, f := range r.findings {
		ev := r.engine.evidence[f.Key]
		switch {
		case ev == nil && f.known:
			p.gone = append(p.gone, f.Key)
		case ev != nil && !(f.known && ev.same(&f.before)):
			ev.stored = ev.Explained
			if p.kept == nil {
				p.kept = map[Key]Evidence{}
			}
			p.kept[f.Key] = ev.clone()
		}
	}
	return p
}

// storeRetry is how long a store that failed is left alone. Without it each
// evaluation of a site would wait for a database that does not answer.
const storeRetry = 5 * time.Second

// roundStore hands rounds to the commit hook and keeps those it refused.
type roundStore struct {
	write func(Round) error
	log   *zap.Logger

	mu      sync.Mutex
	backlog backlog
	failed  time.Time // when the hook refused last; zero: it did not
}

// backlog is what is not stored yet.
type backlog struct {
	changes  []Change
	sites    map[string]bool
	evidence map[Key]*Evidence // nil: gone
	shelves  *[]Shelf
}

// take offers a batch to the hook, with everything that it refused before.
// The error is for a batch that must be stored; any other is kept.
func (s *roundStore) take(b *batch) error {
	if s.write == nil {
		return nil
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if b.must && s.resting(b.now) {
		return ErrNotStored
	}
	all := s.backlog
	if b.must {
		all = s.backlog.copy()
	}
	all.add(b)
	if !s.resting(b.now) {
		err := s.offer(b.now, &all)
		if err == nil {
			return nil
		}
		if b.must {
			return fmt.Errorf("%w (%w)", ErrNotStored, err)
		}
	}
	s.backlog = all
	return nil
}

// resting tells whether the hook is to be left alone. A clock that was set
// back does not prolong it.
func (s *roundStore) resting(now time.Time) bool {
	since := now.Sub(s.failed)
	return !s.failed.IsZero() && since >= 0 && since < storeRetry
}

func (s *roundStore) offer(now time.Time, b *backlog) error {
	err := s.write(b.round(now))
	switch {
	case err != nil && s.failed.IsZero():
		s.log.Error("state not written, going on", zap.Error(err))
	case err == nil && !s.failed.IsZero():
		s.log.Info("state written again", zap.Int("changes", len(b.changes)))
	}
	if err != nil {
		s.failed = now
		return err
	}
	s.failed, s.backlog = time.Time{}, backlog{}
	return nil
}

// retry offers the backlog again.
func (s *roundStore) retry(now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.backlog.size() > 0 && !s.resting(now) {
		_ = s.offer(now, &s.backlog) // said already, and kept
	}
}

func (s *roundStore) waiting() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.backlog.size()
}

func (b *backlog) size() int {
	n := len(b.changes) + len(b.evidence)
	if b.shelves != nil {
		n++
	}
	return n
}

// copy returns a backlog to which something can be added without changing b.
func (b *backlog) copy() backlog {
	return backlog{slices.Clip(b.changes), maps.Clone(b.sites), maps.Clone(b.evidence), b.shelves}
}

func (b *backlog) add(from *batch) {
	if b.sites == nil {
		b.sites, b.evidence = map[string]bool{}, map[Key]*Evidence{}
	}
	b.changes = append(b.changes, from.changes...)
	for _, c := range from.changes {
		b.sites[c.Alarm.Site] = true
	}
	if from.shelves != nil {
		b.shelves = from.shelves
	}
	if p := &from.proof; !p.empty() {
		b.sites[p.site] = true
		for k, ev := range p.kept {
			b.evidence[k] = &ev
		}
		for _, k := range p.gone {
			b.evidence[k] = nil
		}
	}
}

func (b *backlog) round(now time.Time) Round {
	r := Round{At: utc(now), Changes: b.changes, Shelves: b.shelves}
	if len(b.sites) == 1 {
		for r.Site = range b.sites {
		}
	}
	newest := make(map[string]int, len(b.changes))
	for i := range b.changes {
		newest[b.changes[i].Alarm.ID] = i
	}
	for i, c := range b.changes {
		switch {
		case newest[c.Alarm.ID] != i:
		case c.Kind == Purged:
			r.Purged = append(r.Purged, c.Alarm.ID)
		default:
			r.Alarms = append(r.Alarms, c.Alarm)
		}
	}
	for k, ev := range b.evidence {
		if ev == nil {
			r.EvidenceGone = append(r.EvidenceGone, k)
			continue
		}
		if r.Evidence == nil {
			r.Evidence = make(map[Key]Evidence, len(b.evidence))
		}
		r.Evidence[k] = *ev
	}
	slices.SortFunc(r.EvidenceGone, compareKeys)
	return r
}
