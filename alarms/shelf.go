package alarms

import (
	"fmt"
	"slices"
	"time"
)

// OwnShelf is the name of the shelf of an alarm that was shelved by itself.
const OwnShelf = "own"

// A Shelf takes all alarms that fit every one of its criteria, now and later,
// until it ends. Criteria left empty fit everything.
type Shelf struct {
	Name      string    `json:"name"`
	Site      string    `json:"site,omitempty"`
	Resource  string    `json:"resource,omitempty"` // this resource and all below it: unit/roof-3
	Type      string    `json:"type,omitempty"`
	Qualifier string    `json:"qualifier,omitempty"`
	Until     time.Time `json:"until"`
	Operator  string    `json:"operator"` // who made it
	Text      string    `json:"text,omitempty"`
}

func (s *Shelf) fits(a *Alarm) bool {
	return (s.Site == "" || s.Site == a.Site) && under(a.Resource, s.Resource) &&
		(s.Type == "" || s.Type == a.Type) && (s.Qualifier == "" || s.Qualifier == a.Qualifier)
}

func shelve(b *batch, a *Alarm, op Operation) error {
	if a.Shelved() {
		return ErrShelved
	}
	if err := b.l.checkEnd(op.Until, b.now); err != nil {
		return err
	}
	b.shelve(a, Shelf{Name: OwnShelf, Until: utc(op.Until), Operator: op.Operator, Text: op.Text})
	b.emitBy(a, ShelvedChange, false, b.now, op)
	return nil
}

func unshelve(b *batch, a *Alarm, op Operation) error {
	switch {
	case !a.Shelved():
		return ErrNotShelved
	case a.ShelfName != OwnShelf:
		return fmt.Errorf("%w: shelf %q takes it by its criteria: change that shelf", ErrShelved, a.ShelfName)
	}
	b.settle(a, op)
	return nil
}

// SetShelves replaces the shelves with criteria. For each alarm the first
// that fits counts.
func (l *List) SetShelves(shelves []Shelf, op Operation) error {
	return l.changeShelves(op, func([]Shelf) ([]Shelf, error) { return slices.Clone(shelves), nil })
}

// PutShelf adds a shelf with criteria behind the others, or puts it in the
// place of the one with its name.
func (l *List) PutShelf(s Shelf, op Operation) error {
	return l.changeShelves(op, func(shelves []Shelf) ([]Shelf, error) {
		if i := slices.IndexFunc(shelves, s.sameName); i >= 0 {
			shelves[i] = s
			return shelves, nil
		}
		return append(shelves, s), nil
	})
}

// RemoveShelf takes a shelf with criteria away; its alarms return.
func (l *List) RemoveShelf(name string, op Operation) error {
	return l.changeShelves(op, func(shelves []Shelf) ([]Shelf, error) {
		i := slices.IndexFunc(shelves, Shelf{Name: name}.sameName)
		if i < 0 {
			return nil, fmt.Errorf("%w: %q", ErrNoShelf, name)
		}
		return slices.Delete(shelves, i, i+1), nil
	})
}

func (s Shelf) sameName(other Shelf) bool { return s.Name == other.Name }

// RestoreShelves gives the list the shelves that a Round brought before a
// restart. Give it the alarms by Restore.
func (l *List) RestoreShelves(shelves []Shelf) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.shelves = slices.Clone(shelves)
}

// changeShelves puts in force what change makes of a copy of the shelves, and
// every alarm where they say, all or nothing.
func (l *List) changeShelves(op Operation, change func([]Shelf) ([]Shelf, error)) error {
	if err := op.check(); err != nil {
		return fmt.Errorf("set shelves: %w", err)
	}
	_, err := l.change(op.Now, func(b *batch) error {
		shelves, err := change(slices.Clone(l.shelves))
		if err == nil {
			err = l.checkShelves(shelves, op.Operator, b.now)
		}
		if err != nil {
			return err
		}
		b.must, b.shelves = true, &shelves
		b.settleAll(op)
		return nil
	})
	if err != nil {
		return fmt.Errorf("set shelves: %w", err)
	}
	return nil
}

// checkShelves fills in who made a shelf, and refuses those that cannot be.
func (l *List) checkShelves(shelves []Shelf, operator string, now time.Time) error {
	names := map[string]bool{OwnShelf: true, "": true}
	for i := range shelves {
		s := &shelves[i]
		if names[s.Name] {
			return fmt.Errorf("shelf %q: %w: the name is missing or taken", s.Name, ErrOperation)
		}
		names[s.Name] = true
		s.Until = utc(s.Until)
		if s.Operator == "" {
			s.Operator = operator
		}
		if err := l.checkEnd(s.Until, now); err != nil {
			return fmt.Errorf("shelf %q: %w", s.Name, err)
		}
	}
	return nil
}

// Shelves returns the shelves with criteria, in their order.
func (l *List) Shelves() []Shelf {
	l.mu.RLock()
	defer l.mu.RUnlock()
	return slices.Clone(l.shelves)
}

// Expire ends the shelves whose time has come; their alarms return.
func (l *List) Expire(now time.Time) []Change {
	if !l.shelfEnded(now) {
		return nil
	}
	changes, _ := l.change(now, func(b *batch) error {
		if left := slices.DeleteFunc(slices.Clone(l.shelves), func(s Shelf) bool { return !b.now.Before(s.Until) }); len(left) < len(l.shelves) {
			b.shelves = &left
		}
		b.settleAll(Operation{Operator: "expiry", Text: "the shelf has ended"})
		return nil
	})
	return changes
}

func (l *List) shelfEnded(now time.Time) bool {
	l.mu.RLock()
	shelves := l.shelves
	l.mu.RUnlock()
	ended := func(until time.Time) bool { return !now.Before(until) }
	return slices.ContainsFunc(shelves, func(s Shelf) bool { return ended(s.Until) }) ||
		slices.ContainsFunc(l.snapshot(), func(a *Alarm) bool { return a.ShelfName != "" && ended(a.ShelvedUntil) })
}

func (l *List) checkEnd(until, now time.Time) error {
	if longest := now.Add(l.cfg.MaxShelf); !until.After(now) || until.After(longest) {
		return fmt.Errorf("%w: a shelf must end after now and before %s", ErrOperation, longest.UTC().Format(time.RFC3339))
	}
	return nil
}

func (b *batch) shelfOf(a *Alarm) (Shelf, bool) {
	shelves := b.l.shelves // only writers write, and this is the writer
	if b.shelves != nil {
		shelves = *b.shelves
	}
	for _, s := range shelves {
		if s.fits(a) && b.now.Before(s.Until) {
			return s, true
		}
	}
	return Shelf{}, false
}

func (b *batch) shelve(a *Alarm, s Shelf) {
	a.ShelfName, a.ShelvedUntil, a.Operator = s.Name, s.Until, Shelved
	text := fmt.Sprintf("shelf %q", s.Name)
	if s.Text != "" {
		text += ": " + s.Text
	}
	a.act(b.now, s.Operator, text)
}

// settleAll puts every alarm where the shelves say.
func (b *batch) settleAll(op Operation) {
	for _, a := range b.l.snapshot() {
		if s, fits := b.shelfOf(a); fits || a.ShelfName != "" {
			if a.ShelfName == s.Name && a.ShelvedUntil.Equal(s.Until) {
				continue
			}
			if a.ShelfName == OwnShelf && b.now.Before(a.ShelvedUntil) {
				continue
			}
			b.settle(b.edit(a.Key), op)
		}
	}
}

// settle takes an alarm off its shelf and puts it on that which its criteria
// ask for, or back among the others.
func (b *batch) settle(a *Alarm, op Operation) {
	if s, fits := b.shelfOf(a); fits {
		b.shelve(a, s)
		b.emitBy(a, ShelvedChange, false, b.now, Operation{Operator: s.Operator, Text: s.Text})
		return
	}
	text := fmt.Sprintf("off shelf %q", a.ShelfName)
	if op.Text != "" {
		text += ": " + op.Text
	}
	a.ShelfName, a.ShelvedUntil, a.Operator = "", time.Time{}, UnShelved
	a.act(b.now, op.Operator, text)
	b.emitBy(a, UnshelvedChange, !a.silent(), b.now, op)
	b.catchUp(a)
}
