package alarms

import (
	"reflect"
	"slices"
	"time"
)

// A batch collects what one writer does to the list, so that readers, the
// commit hook and the sink get all of it or nothing.
type batch struct {
	l       *List
	now     time.Time
	work    map[Key]*Alarm // changed copies; nil: purged
	changes []Change
	proof   proof    // what the engine remembers of it, to be stored with it
	shelves *[]Shelf // those with criteria, changed; nil: as they were
	must    bool     // refuse the batch when it cannot be stored
}

// change runs fn on a batch and, unless it fails, installs the outcome:
// first commit hears of it, then readers see it, then listener and sink. A
// batch that commit refuses leaves everything as it was, but for numbers of
// changes that are not used again: what became of it in the store may be
// unknown.
func (l *List) change(now time.Time, fn func(*batch) error) ([]Change, error) {
	l.write.Lock()
	defer l.write.Unlock()
	b := &batch{l: l, now: utc(now), work: map[Key]*Alarm{}}
	if err := fn(b); err != nil {
		return nil, err
	}
	if l.commit != nil && (len(b.changes) > 0 || !b.proof.empty() || b.shelves != nil) {
		if err := l.commit(b); err != nil {
			return nil, err
		}
	}
	if len(b.work) > 0 || b.shelves != nil {
		b.install()
	}
	if len(b.changes) == 0 {
		return nil, nil
	}
	if l.listen != nil {
		l.listen(b.now, b.changes)
	}
	if l.cfg.Sink != nil {
		l.cfg.Sink(b.changes)
	}
	return b.changes, nil
}

func (b *batch) install() {
	b.l.mu.Lock()
	defer b.l.mu.Unlock()
	if b.shelves != nil {
		b.l.shelves = *b.shelves
	}
	gone := make(map[*Alarm]bool, len(b.work))
	come := make([]*Alarm, 0, len(b.work))
	for k, a := range b.work {
		old := b.l.byKey[k]
		gone[old] = true
		if a != nil {
			b.l.put(a)
			come = append(come, a)
		} else if old != nil {
			b.l.remove(old)
		}
	}
	b.l.resort(gone, come)
	if len(b.changes) > 0 && b.now.After(b.l.changed) {
		b.l.changed = b.now
	}
}

// look returns the alarm as the batch has it, not to be changed; nil: none.
func (b *batch) look(k Key) *Alarm {
	if a, ok := b.work[k]; ok {
		return a
	}
	return b.l.byKey[k] // only writers write, and this is the writer
}

// edit returns the batch's own copy of an alarm that exists. Its slices are
// shared with the list: replace them, do not write into them.
func (b *batch) edit(k Key) *Alarm {
	if a := b.work[k]; a != nil {
		return a
	}
	a := *b.l.byKey[k]
	b.work[k] = &a
	return &a
}

func (b *batch) emit(a *Alarm, kind ChangeKind, notify bool) {
	b.emitBy(a, kind, notify, b.now, Operation{})
}

func (b *batch) emitBy(a *Alarm, kind ChangeKind, notify bool, t time.Time, op Operation) {
	b.l.seq++
	a.Version = b.l.seq
	b.changes = append(b.changes, Change{
		Seq: a.Version, Time: t, Kind: kind, Alarm: a.Clone(), Operator: op.Operator, Text: op.Text, From: op.From, Notify: notify,
	})
}

func (b *batch) apply(u Update) {
	old := b.look(u.Key)
	switch {
	case old == nil && !u.Active:
	case old == nil:
		b.create(u)
	case u.Active:
		b.raise(u, old)
	case !old.Cleared:
		b.clear(u)
	}
}

func (b *batch) create(u Update) {
	a := &Alarm{Key: u.Key, ID: NewID(u.Key), Created: b.at(u), Operator: OperatorNone, Cleared: true}
	b.work[u.Key] = a
	b.up(a, u)
	if shelf, ok := b.shelfOf(a); ok {
		b.shelve(a, shelf)
	}
	b.announceRaise(a)
	if a.Shelved() {
		b.emitBy(a, ShelvedChange, false, b.now, Operation{Operator: a.Actions[0].Operator, Text: a.Actions[0].Text})
	}
}

// up makes the alarm active as the update says, and records the change.
func (b *batch) up(a *Alarm, u Update) {
	t := b.at(u)
	a.Cleared, a.Severity, a.Hold = false, max(u.Severity, Warning), u.Hold
	a.take(u)
	a.record(t)
	a.LastRaised = a.LastChanged
}

func (b *batch) announceRaise(a *Alarm) {
	speaks := !a.silent()
	if speaks {
		a.Announced, a.Told = true, a.Severity
	}
	b.emitBy(a, Raised, speaks, a.LastChanged, Operation{})
}

func (b *batch) raise(u Update, old *Alarm) {
	severity := max(u.Severity, Warning)
	switch text := u.Text; {
	case old.Cleared:
		a := b.edit(u.Key)
		b.up(a, u)
		if a.Announced && a.Shelved() { // receivers never heard of the clear
			b.emitBy(a, Raised, false, a.LastChanged, Operation{})
			return
		}
		b.announceRaise(a)
	case severity != old.Severity || text != "" && text != old.Text:
		kind := TextChanged
		if severity != old.Severity {
			kind = SeverityChanged
		}
		a := b.edit(u.Key)
		b.hold(a, u.Hold)
		a.Severity = severity
		a.take(u)
		a.record(b.at(u))
		b.emitBy(a, kind, a.tell(), a.LastChanged, Operation{})
		b.catchUp(a)
	case old.Hold != u.Hold:
		a := b.edit(u.Key)
		a.take(u)
		b.hold(a, u.Hold)
		b.catchUp(a)
	case !old.has(u):
		b.edit(u.Key).take(u)
	}
}

// tell reports whether receivers may hear of a change of an active alarm, and
// notes that they have.
func (a *Alarm) tell() bool {
	if a.silent() || !a.Announced {
		return false
	}
	a.Told = a.Severity
	return true
}

func (b *batch) clear(u Update) {
	a := b.edit(u.Key)
	a.Cleared, a.Hold = true, Hold{}
	if u.Text != "" {
		a.Text = u.Text
	}
	a.record(b.at(u))
	notify := a.Announced && !a.Shelved()
	if notify {
		a.Announced, a.Told = false, 0
	}
	b.emitBy(a, ClearedChange, notify, a.LastChanged, Operation{})
}

// hold puts the alarm under a hold, under another one, or lifts it.
func (b *batch) hold(a *Alarm, h Hold) {
	if a.Hold == h {
		return
	}
	a.Hold = h
	if h != (Hold{}) {
		b.emit(a, Held, false)
	} else if a.Announced || a.Shelved() {
		b.emit(a, Released, false)
	}
}

// catchUp tells receivers what they missed while the alarm was silent.
func (b *batch) catchUp(a *Alarm) {
	switch {
	case a.silent():
	case a.Cleared && a.Announced:
		a.Announced, a.Told = false, 0
		b.emit(a, ClearedChange, true)
	case a.Cleared:
	case !a.Announced:
		a.Announced, a.Told = true, a.Severity
		b.emit(a, Released, true)
	case a.Told != a.Severity:
		a.Told = a.Severity
		b.emit(a, SeverityChanged, true)
	}
}

// at returns the time of an update: never in the future.
func (b *batch) at(u Update) time.Time {
	if u.Time.IsZero() || u.Time.After(b.now) {
		return b.now
	}
	return utc(u.Time)
}

// take takes over what an update says beside severity, clearance and hold.
func (a *Alarm) take(u Update) {
	if u.Text != "" {
		a.Text = u.Text
	}
	a.Site, a.Cause, a.EventType = u.Site, u.Cause, u.EventType
	a.Details, a.Related = u.Details.clone(), slices.Clone(u.Related)
}

// has tells whether take would change nothing.
func (a *Alarm) has(u Update) bool {
	return a.Site == u.Site && a.Cause == u.Cause && a.EventType == u.EventType &&
		reflect.DeepEqual(a.Details, u.Details) && reflect.DeepEqual(a.Related, u.Related)
}

func utc(t time.Time) time.Time { return t.Round(0).UTC() }
