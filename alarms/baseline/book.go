package baseline

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"lightwell/collector"
)

// States of a unit in the Book.
const (
	Commissioning = "commissioning" // nothing accepted that fits the unit: no comparison alarms
	Capturing     = "capturing"     // a capture is running; what was accepted before stays in force
	Accepted      = "accepted"
)

// A Book holds the baselines of the fleet and the captures under way. Safe for
// concurrent use.
type Book struct {
	cfg   Config
	store Store

	writing sync.Mutex // held by who replaces records or the fleet
	records []Record
	refined []Refinement
	unsure  bool // the store refused something; it may have it nevertheless
	shelf   atomic.Pointer[shelf]

	mu        sync.Mutex // guards what follows; never held while storing
	fleet     *collector.Fleet
	captures  map[string]*capture
	learners  map[string]*learner
	listeners map[string][]hearer        // of the temperatures of a unit
	parked    map[string]*storedProgress // from before the restart, of units that were not met yet
	stored    map[string]bool            // units with progress in the store
	work      Work
	visits    Visits
}

// NewBook reads the accepted baselines from store. Until SetFleet none of them
// is in force.
func NewBook(store Store, cfg Config) (*Book, error) {
	if err := cfg.Validate(); err != nil {
		return nil, err
	}
	b := &Book{
		cfg: cfg, store: store, fleet: collector.NewFleet(collector.Fleet{}), captures: map[string]*capture{}, learners: map[string]*learner{},
		listeners: map[string][]hearer{}, parked: map[string]*storedProgress{}, stored: map[string]bool{},
	}
	if err := b.read(); err != nil {
		return nil, err
	}
	progress, err := store.Progress()
	if err != nil {
		return nil, fmt.Errorf("read baselines under way: %w", err)
	}
	for unit, data := range progress {
		b.stored[unit] = true
		if p, err := decodeProgress(data); err == nil { // else of another version of the program: it begins anew
			b.parked[unit] = p
		}
	}
	return b, nil
}

// read takes records and refinements from the store. Its caller is writing, or
// has the book for itself.
func (b *Book) read() (err error) {
	if b.records, err = b.store.Records(); err != nil {
		return fmt.Errorf("read baselines: %w", err)
	}
	if b.refined, err = b.store.Refinements(); err != nil {
		return fmt.Errorf("read refinements of baselines: %w", err)
	}
	b.shelf.Store(newShelf(b.records, b.refined, b.fleet))
	return nil
}

// Watch tells the book of planned work, during which nothing is learnt, and of
// visits: once they are recorded, a baseline is only replaced in one. Nil: not
// known.
func (b *Book) Watch(work Work, visits Visits) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.work, b.visits = work, visits
}

// SetFleet tells which units there are. Captures of units that are gone, or
// are now of another model, end; so does the force of a baseline whose unit is
// of another model, while the record stays.
func (b *Book) SetFleet(f *collector.Fleet) {
	b.writing.Lock()
	defer b.writing.Unlock()
	b.mu.Lock()
	old := b.fleet
	b.fleet = f
	for id := range b.captures {
		was, _ := old.Unit(id)
		if is, ok := f.Unit(id); !ok || is.Equipment.Model != was.Equipment.Model {
			delete(b.captures, id)
		}
	}
	b.shelf.Store(newShelf(b.records, b.refined, f))
	b.resume()
	b.mu.Unlock()
}

// Observe adds a poll to the capture of its unit, if one is running, and to
// what is learnt of the unit until its levels are final.
func (b *Book) Observe(p collector.Poll) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if c := b.captures[p.Unit]; c != nil {
		c.observe(p, b.cfg.MaxSamples)
	}
	b.study(&p)
}

// Begin starts a capture of each unit, anew where one is running. With an
// unknown unit among them nothing is started; the error wraps ErrUnknownUnit.
func (b *Book) Begin(units []string, by string, now time.Time) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.check("begin", units, by); err != nil {
		return err
	}
	for _, id := range units {
		b.captures[id] = &capture{by: by, begun: now, points: map[collector.Point]*ring{}}
	}
	return nil
}

// check refuses an operation without a unit or a name, and units that the
// fleet does not have.
func (b *Book) check(what string, units []string, by string) error {
	if len(units) == 0 {
		return fmt.Errorf("%s baseline: %w; name at least one unit", what, ErrNoUnits)
	}
	if strings.TrimSpace(by) == "" {
		return fmt.Errorf("%s baseline: %w; say who is responsible", what, ErrNoName)
	}
	var faults []error
	for _, id := range units {
		if _, ok := b.fleet.Unit(id); !ok {
			faults = append(faults, fmt.Errorf("%s baseline of unit %q: %w; use an id of the fleet file", what, id, ErrUnknownUnit))
		}
	}
	return errors.Join(faults...)
}

// Show returns what the capture of a unit holds and whether it may be
// accepted. Without a capture the result has the state and a reason only.
func (b *Book) Show(unit string, now time.Time) Capture {
	b.mu.Lock()
	defer b.mu.Unlock()
	u, known := b.fleet.Unit(unit)
	c := b.captures[unit]
	switch {
	case !known:
		return Capture{Unit: unit, State: Commissioning, Reasons: []string{"unit is not in the fleet: use an id of the fleet file"}}
	case c == nil:
		return Capture{Unit: unit, State: b.accepted(unit), Reasons: []string{"no capture begun: begin one"}, Learning: b.learning(unit)}
	}
	inForce, _ := b.Levels(unit)
	shown := judge(c, u, len(b.fleet.LinksOf(unit)), inForce, b.cfg, now)
	b.compare(&shown)
	shown.Learning = b.learning(unit)
	return shown
}

// Accept makes the captures of units their baselines, all or none, stored
// before they count. A capture that is not ready is refused unless force is
// set; force, and a unit that had a baseline before, need a reason. A refusal
// wraps ErrUnknownUnit, ErrNotBegun, ErrNoSamples, ErrNotReady, ErrNoReason or
// ErrNoVisit for each unit it concerns.
func (b *Book) Accept(units []string, by, reason string, force bool, now time.Time) error {
	b.writing.Lock()
	defer b.writing.Unlock()
	units = slices.Compact(slices.Sorted(slices.Values(units)))
	if err := b.makeSure(); err != nil {
		return err
	}
	added, err := b.propose(units, by, strings.TrimSpace(reason), force, now)
	if err != nil {
		return err
	}
	if err := b.store.Append(added); err != nil {
		b.unsure = true
		return fmt.Errorf("%w (%w)", ErrNotStored, err)
	}
	b.records = slices.Concat(b.records, added)
	b.mu.Lock()
	defer b.mu.Unlock()
	b.shelf.Store(newShelf(b.records, b.refined, b.fleet))
	for _, id := range units {
		delete(b.captures, id)
		delete(b.learners, id)
	}
	b.resume()
	return nil
}

// makeSure reads the records again after a write whose outcome is not known,
// so that no version is given twice.
func (b *Book) makeSure() error {
	if !b.unsure {
		return nil
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.read(); err != nil {
		return fmt.Errorf("%w (%w)", ErrNotStored, err)
	}
	b.unsure = false
	return nil
}

// propose makes the records that would be accepted, or says why not.
func (b *Book) propose(units []string, by, reason string, force bool, now time.Time) ([]Record, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if err := b.check("accept", units, by); err != nil {
		return nil, err
	}
	var records []Record
	var faults []error
	for _, id := range units {
		r, err := b.proposeUnit(id, by, reason, force, now)
		if err != nil {
			faults = append(faults, fmt.Errorf("accept baseline of unit %q: %w", id, err))
			continue
		}
		records = append(records, r)
	}
	return records, errors.Join(faults...)
}

func (b *Book) proposeUnit(id, by, reason string, force bool, now time.Time) (Record, error) {
	c := b.captures[id]
	if c == nil {
		return Record{}, fmt.Errorf("%w; begin one and let it collect", ErrNotBegun)
	}
	u, _ := b.fleet.Unit(id)
	before := b.shelf.Load().records[id]
	shown := judge(c, u, len(b.fleet.LinksOf(id)), nil, b.cfg, now)
	b.compare(&shown)
	r := makeRecord(shown, u, len(before)+1, by, reason, force, now)
	visited := b.visits == nil
	if b.visits != nil {
		r.Visit, visited = b.visits.Visited(u.Site, now)
	}
	switch {
	case len(r.Levels) == 0:
		return Record{}, fmt.Errorf("%w: %s", ErrNoSamples, strings.Join(shown.Reasons, "; "))
	case !shown.Ready && !force:
		return Record{}, fmt.Errorf("%w: %s; or force it and give a reason", ErrNotReady, strings.Join(shown.Reasons, "; "))
	case !shown.Ready && reason == "":
		return Record{}, fmt.Errorf("%w; say why it is accepted although not ready", ErrNoReason)
	case len(before) > 0 && reason == "":
		return Record{}, fmt.Errorf("%w; say what was done since version %d of %s", ErrNoReason, len(before), before[len(before)-1].Accepted.Format(time.DateOnly))
	case len(before) > 0 && !visited:
		return Record{}, fmt.Errorf("%w at site %q; begin one, so that it is known why version %d is replaced: lightwell visit begin site/%s", ErrNoVisit, u.Site, len(before), u.Site)
	}
	return r, nil
}

// Levels returns the baseline in force of a unit by point, and false while the
// unit is commissioning. The map is shared: nobody may change it, and it never
// changes.
func (b *Book) Levels(unit string) (map[collector.Point]Level, bool) {
	l, ok := b.shelf.Load().inForce[unit]
	return l, ok
}

// History returns all versions of a unit's baseline, oldest first. The caller
// owns them.
func (b *Book) History(unit string) []Record { return copies(b.shelf.Load().records[unit]) }

// Refinements returns what was learnt of a unit's versions after they were
// accepted, oldest first. The caller owns them.
func (b *Book) Refinements(unit string) []Refinement {
	return copiesOf(b.shelf.Load().refinements[unit])
}

// State returns Commissioning, Capturing or Accepted.
func (b *Book) State(unit string) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.captures[unit] != nil {
		return Capturing
	}
	return b.accepted(unit)
}

func (b *Book) accepted(unit string) string {
	if _, ok := b.Levels(unit); ok {
		return Accepted
	}
	return Commissioning
}
