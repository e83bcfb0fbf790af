package alarms

import (
	"errors"
	"fmt"
	"time"
)

// Errors of operator actions.
var (
	ErrNoAlarm    = errors.New("no such alarm")
	ErrNoShelf    = errors.New("no such shelf")
	ErrShelved    = errors.New("the alarm is shelved: only unshelving is possible")
	ErrNotShelved = errors.New("the alarm is not shelved")
	ErrChanged    = errors.New("the alarm has changed meanwhile: look at it again")
	ErrOperation  = errors.New("operation not understood")
	ErrNotStored  = errors.New("the state cannot be written now, so nothing was changed: try again when it can")
)

// MaxOperationText is the longest text of an operator action, in bytes.
const MaxOperationText = 2000

// An Operation is what a person does with an alarm.
type Operation struct {
	Operator  string    // who; must not be empty
	Text      string    // why
	From      string    // address of the person; may be empty
	IfVersion uint64    // do it only if the alarm still has this version; 0: always
	Now       time.Time // zero: time.Now
	Until     time.Time // end of a shelf
}

func (op *Operation) check() error {
	if op.Now.IsZero() {
		op.Now = time.Now()
	}
	switch {
	case op.Operator == "":
		return fmt.Errorf("%w: operator is missing", ErrOperation)
	case len(op.Text) > MaxOperationText:
		return fmt.Errorf("%w: the text is %d bytes long; %d are allowed", ErrOperation, len(op.Text), MaxOperationText)
	}
	return nil
}

// Acknowledge notes that somebody works on the alarm.
func (l *List) Acknowledge(id string, op Operation) (Alarm, error) {
	return l.one("acknowledge", id, op)
}

// Close notes that the corrective action was successful. Whether the alarm
// has cleared is another matter.
func (l *List) Close(id string, op Operation) (Alarm, error) { return l.one("close", id, op) }

// Reopen notes that nobody works on the alarm.
func (l *List) Reopen(id string, op Operation) (Alarm, error) { return l.one("reopen", id, op) }

// Comment adds a text and changes nothing else.
func (l *List) Comment(id string, op Operation) (Alarm, error) { return l.one("comment", id, op) }

// Shelve keeps one alarm from receivers and out of the summary until
// op.Until; then it returns by itself.
func (l *List) Shelve(id string, op Operation) (Alarm, error) { return l.one("shelve", id, op) }

// Unshelve takes back what Shelve did. An alarm that lies on a shelf because
// of its criteria stays there; change the shelves instead.
func (l *List) Unshelve(id string, op Operation) (Alarm, error) { return l.one("unshelve", id, op) }

// deeds are the operator actions by their verb. Each refuses before it
// changes anything.
var deeds = map[string]func(*batch, *Alarm, Operation) error{
	"acknowledge": sets(Acknowledged, OperatorAck),
	"close":       sets(Closed, OperatorClosed),
	"reopen":      sets(Reopened, OperatorNone),
	"comment":     comment,
	"shelve":      shelve,
	"unshelve":    unshelve,
}

// sets returns the deed that gives an alarm an operator state; an empty one
// leaves it as it was.
func sets(kind ChangeKind, state OperatorState) func(*batch, *Alarm, Operation) error {
	return func(b *batch, a *Alarm, op Operation) error {
		if a.Shelved() {
			return ErrShelved
		}
		if state != "" {
			a.Operator = state
		}
		a.act(b.now, op.Operator, op.Text)
		b.emitBy(a, kind, !a.silent(), b.now, op)
		return nil
	}
}

func comment(b *batch, a *Alarm, op Operation) error {
	if op.Text == "" {
		return fmt.Errorf("%w: the text is missing", ErrOperation)
	}
	return sets(Commented, "")(b, a, op)
}

// one does a deed with one alarm and returns a copy of what became of it.
func (l *List) one(verb, id string, op Operation) (Alarm, error) {
	out, err := l.Act(verb, []Target{{id, op.IfVersion}}, op)
	if err != nil {
		return Alarm{}, err
	}
	return out[0].Alarm, out[0].Err
}

// A Target is an alarm to act on.
type Target struct {
	ID        string
	IfVersion uint64 // act only if the alarm still has this version; 0: always
}

// An Outcome is what became of one target: the alarm after the action, or why
// nothing was done.
type Outcome struct {
	Alarm Alarm
	Err   error
}

// Act does one action, by its verb (acknowledge, close, reopen, comment,
// shelve or unshelve), with many alarms at once. Each is judged by itself:
// what is refused for one does not keep the others from it. What a person was
// told is done is stored, all of it together; an error means that nothing was
// done at all.
func (l *List) Act(verb string, targets []Target, op Operation) ([]Outcome, error) {
	fail := func(err error) error { return fmt.Errorf("%s %s: %w", verb, named(targets), err) }
	do := deeds[verb]
	if do == nil {
		return nil, fail(fmt.Errorf("%w: there is no such action", ErrOperation))
	}
	if err := op.check(); err != nil {
		return nil, fail(err)
	}
	out := make([]Outcome, len(targets))
	_, err := l.change(op.Now, func(b *batch) error {
		b.must = true
		for i, t := range targets {
			a, err := b.actOn(t, op, do)
			if err != nil {
				out[i].Err = fmt.Errorf("%s alarm %q: %w", verb, t.ID, err)
				continue
			}
			out[i].Alarm = a.Clone()
		}
		return nil
	})
	if err != nil {
		return nil, fail(err)
	}
	return out, nil
}

// named says in an error which alarms it is about.
func named(targets []Target) string {
	if len(targets) == 1 {
		return fmt.Sprintf("alarm %q", targets[0].ID)
	}
	return fmt.Sprintf("%d alarms", len(targets))
}

func (b *batch) actOn(t Target, op Operation, do func(*batch, *Alarm, Operation) error) (*Alarm, error) {
	old := b.l.byID[t.ID]
	if old == nil {
		return nil, ErrNoAlarm
	}
	if t.IfVersion != 0 && t.IfVersion != b.look(old.Key).Version {
		return nil, ErrChanged
	}
	a := b.edit(old.Key)
	return a, do(b, a, op)
}
