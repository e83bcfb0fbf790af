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
	return l.setOperator("acknowledge", id, op, Acknowledged, OperatorAck)
}

// Close notes that the corrective action was successful. Whether the alarm
// has cleared is another matter.
func (l *List) Close(id string, op Operation) (Alarm, error) {
	return l.setOperator("close", id, op, Closed, OperatorClosed)
}

// Reopen notes that nobody works on the alarm.
func (l *List) Reopen(id string, op Operation) (Alarm, error) {
	return l.setOperator("reopen", id, op, Reopened, OperatorNone)
}

// Comment adds a text and changes nothing else.
func (l *List) Comment(id string, op Operation) (Alarm, error) {
	if op.Text == "" {
		return Alarm{}, fmt.Errorf("comment on alarm %q: %w: the text is missing", id, ErrOperation)
	}
	return l.setOperator("comment on", id, op, Commented, "")
}

func (l *List) setOperator(verb, id string, op Operation, kind ChangeKind, state OperatorState) (Alarm, error) {
	return l.operate(verb, id, op, func(b *batch, a *Alarm) error {
		if a.Shelved() {
			return ErrShelved
		}
		if state != "" {
			a.Operator = state
		}
		a.act(b.now, op.Operator, op.Text)
		b.emitBy(a, kind, !a.silent(), b.now, op)
		return nil
	})
}

// operate runs fn on one alarm and returns a copy of what it made of it. What
// a person was told is done is stored.
func (l *List) operate(verb, id string, op Operation, fn func(*batch, *Alarm) error) (Alarm, error) {
	fail := func(err error) (Alarm, error) { return Alarm{}, fmt.Errorf("%s alarm %q: %w", verb, id, err) }
	if err := op.check(); err != nil {
		return fail(err)
	}
	var out Alarm
	_, err := l.change(op.Now, func(b *batch) error {
		old := l.byID[id]
		if old == nil {
			return ErrNoAlarm
		}
		if op.IfVersion != 0 && op.IfVersion != old.Version {
			return ErrChanged
		}
		b.must = true
		a := b.edit(old.Key)
		if err := fn(b, a); err != nil {
			return err
		}
		out = a.Clone()
		return nil
	})
	if err != nil {
		return fail(err)
	}
	return out, nil
}
