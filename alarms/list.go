package alarms

import (
	"cmp"
	"slices"
	"sync"
	"time"
)

// ListConfig configures a List. The zero value works.
type ListConfig struct {
	// Sink receives every change, in the order of Seq, one call at a time. It
	// may read the list, but it must not change it.
	Sink func([]Change)
	// FirstSeq is the number of the first change; zero: one after the highest
	// version restored.
	FirstSeq uint64
	// MaxShelf is the longest time for which anything can be shelved; zero:
	// DefaultMaxShelf.
	MaxShelf time.Duration
}

// DefaultMaxShelf is long enough for a repair that waits for a part, and
// short enough that no shelf becomes a way to switch an alarm off.
const DefaultMaxShelf = 30 * 24 * time.Hour

// A List holds every alarm that has not been purged, with the life cycle of
// RFC 8632. Safe for concurrent use. Each change is applied whole: readers see
// all of a call of Apply or nothing.
type List struct {
	cfg ListConfig

	write  sync.Mutex // one writer at a time; held while the hooks run
	seq    uint64
	commit func(*batch) error
	listen func(now time.Time, changes []Change)

	mu      sync.RWMutex // guards all below; written only with write held
	byKey   map[Key]*Alarm
	byID    map[string]*Alarm // alarms are never changed in place, but replaced
	bySite  map[string]map[Key]*Alarm
	shelves []Shelf
	changed time.Time
	sorted  []*Alarm // for reading, worst first; nil: to be built
}

// NewList returns an empty list.
func NewList(cfg ListConfig) *List {
	if cfg.MaxShelf <= 0 {
		cfg.MaxShelf = DefaultMaxShelf
	}
	return &List{cfg: cfg, seq: max(cfg.FirstSeq, 1) - 1, byKey: map[Key]*Alarm{}, byID: map[string]*Alarm{}, bySite: map[string]map[Key]*Alarm{}}
}

// An Update says how one alarm stands now.
type Update struct {
	Key
	Site      string
	Active    bool
	Severity  Severity  // needed when active
	Text      string    // empty: the text stays
	Time      time.Time // when the state changed in the resource; zero or in the future: now
	Cause     Cause
	EventType EventType
	Details   Details
	Related   []Key
	Hold      Hold
}

// Apply takes updates over in one step and returns the changes that they
// made. An update that says nothing new makes none.
func (l *List) Apply(now time.Time, updates ...Update) []Change {
	return l.applyWith(now, proof{}, updates...)
}

// applyWith is Apply for the engine, which has its memory stored in the same
// step.
func (l *List) applyWith(now time.Time, p proof, updates ...Update) []Change {
	changes, _ := l.change(now, func(b *batch) error {
		b.proof = p
		for _, u := range updates {
			b.apply(u)
		}
		return nil
	})
	return changes
}

// Restore replaces the content of the list by saved alarms. It makes no
// changes that anybody would hear of. Shelves with criteria are not alarms:
// give them to SetShelves again.
func (l *List) Restore(saved []Alarm) {
	l.write.Lock()
	defer l.write.Unlock()
	l.mu.Lock()
	defer l.mu.Unlock()
	l.byKey, l.byID, l.bySite, l.sorted = map[Key]*Alarm{}, map[string]*Alarm{}, map[string]map[Key]*Alarm{}, nil
	for i := range saved {
		a := saved[i].Clone()
		a.ID = NewID(a.Key)
		a.Changes = a.Changes[:min(len(a.Changes), MaxStatusChanges)]
		a.Actions = a.Actions[:min(len(a.Actions), MaxOperatorActions)]
		l.put(&a)
		l.seq = max(l.seq, a.Version)
		if a.LastChanged.After(l.changed) {
			l.changed = a.LastChanged
		}
	}
}

// Alarms returns copies of the alarms that pass f: those that are active
// first, the worst first, then the latest raised.
func (l *List) Alarms(f Filter) []Alarm {
	var out []Alarm
	l.Each(f, func(a *Alarm) bool {
		out = append(out, a.Clone())
		return true
	})
	return out
}

// Each calls fn for the alarms that pass f, in the order of Alarms, until fn
// returns false. It copies nothing: fn must not change the alarm or keep it.
// The list may change meanwhile; fn sees it as it was at the call of Each.
func (l *List) Each(f Filter, fn func(*Alarm) bool) {
	for _, a := range l.snapshot() {
		if f.passes(a) && !fn(a) {
			return
		}
	}
}

// Alarm returns a copy of the alarm with that id.
func (l *List) Alarm(id string) (Alarm, bool) {
	l.mu.RLock()
	a := l.byID[id]
	l.mu.RUnlock()
	if a == nil {
		return Alarm{}, false
	}
	return a.Clone(), true
}

// Active tells whether the alarm is in the list and not cleared.
func (l *List) Active(k Key) bool {
	a := l.peek(k)
	return a != nil && !a.Cleared
}

// LastChanged returns the time of the last change of the list; one who has an
// older one should read the list anew.
func (l *List) LastChanged() time.Time {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.changed
}

func (l *List) peek(k Key) *Alarm {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return l.byKey[k]
}

// raisedAt returns when an alarm that is not cleared was raised; zero: it is
// not, or has cleared.
func (l *List) raisedAt(k Key) time.Time {
	if a := l.peek(k); a != nil && !a.Cleared {
		return a.LastRaised
	}
	return time.Time{}
}

// activeAt returns the alarms of a site that are not cleared.
func (l *List) activeAt(site string) []*Alarm {
	l.mu.RLock()
	defer l.mu.RUnlock()
	var out []*Alarm
	for _, a := range l.bySite[site] {
		if !a.Cleared {
			out = append(out, a)
		}
	}
	return out
}

// attach has commit called before readers see changes, and listen after
// that; both one call at a time.
func (l *List) attach(commit func(*batch) error, listen func(now time.Time, changes []Change)) {
	l.write.Lock()
	defer l.write.Unlock()
	l.commit, l.listen = commit, listen
}

// snapshot returns all alarms in the order of Alarms. Neither the slice nor
// the alarms change after that.
func (l *List) snapshot() []*Alarm {
	l.mu.RLock()
	sorted := l.sorted
	l.mu.RUnlock()
	if sorted != nil {
		return sorted
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.sorted == nil {
		l.sorted = make([]*Alarm, 0, len(l.byKey))
		for _, a := range l.byKey {
			l.sorted = append(l.sorted, a)
		}
		slices.SortFunc(l.sorted, worstFirst)
	}
	return l.sorted
}

// resort brings the sorted alarms up to date; after a large batch it is
// cheaper to sort anew when somebody reads.
func (l *List) resort(gone map[*Alarm]bool, come []*Alarm) {
	if l.sorted == nil || len(gone) > len(l.sorted)/16+4 {
		l.sorted = nil
		return
	}
	slices.SortFunc(come, worstFirst)
	merged := make([]*Alarm, 0, len(l.sorted)+len(come))
	for _, a := range l.sorted {
		if gone[a] {
			continue
		}
		for len(come) > 0 && worstFirst(come[0], a) < 0 {
			merged, come = append(merged, come[0]), come[1:]
		}
		merged = append(merged, a)
	}
	l.sorted = append(merged, come...)
}

func worstFirst(a, b *Alarm) int {
	if a.Cleared != b.Cleared {
		if a.Cleared {
			return 1
		}
		return -1
	}
	return cmp.Or(cmp.Compare(b.Severity, a.Severity), b.LastRaised.Compare(a.LastRaised), cmp.Compare(a.Resource, b.Resource),
		cmp.Compare(a.Type, b.Type), cmp.Compare(a.Qualifier, b.Qualifier))
}

func (l *List) put(a *Alarm) {
	if old := l.byKey[a.Key]; old != nil && old.Site != a.Site {
		delete(l.bySite[old.Site], a.Key)
	}
	l.byKey[a.Key], l.byID[a.ID] = a, a
	site := l.bySite[a.Site]
	if site == nil {
		site = map[Key]*Alarm{}
		l.bySite[a.Site] = site
	}
	site[a.Key] = a
}

func (l *List) remove(a *Alarm) {
	delete(l.byKey, a.Key)
	delete(l.byID, a.ID)
	delete(l.bySite[a.Site], a.Key)
}
