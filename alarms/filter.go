package alarms

import (
	"fmt"
	"strings"
	"time"
)

// Clearance selects alarms by whether they have cleared.
type Clearance string

// Clearances; the empty one is ClearanceAny.
const (
	ClearanceAny        Clearance = "any"
	ClearanceCleared    Clearance = "cleared"
	ClearanceNotCleared Clearance = "not-cleared"
)

// Shelving selects alarms by whether they lie on a shelf.
type Shelving string

// Shelvings. The empty one leaves shelved alarms out: they have a list of
// their own.
const (
	ShelvingNone Shelving = ""
	ShelvingOnly Shelving = "only"
	ShelvingAny  Shelving = "any"
)

// A Filter selects alarms; its criteria are ANDed. The zero Filter passes all
// that are not shelved.
type Filter struct {
	Clearance     Clearance
	ChangedBefore time.Time // last changed before that: "older than"
	Below         Severity  // severity strictly below
	Is            Severity
	Above         Severity      // severity strictly above
	Operator      OperatorState // operator state
	OperatorName  string        // who did the newest operator action
	Site          string
	Resource      string // this resource and all below it
	Type          string
	Shelving      Shelving
}

func (f *Filter) passes(a *Alarm) bool {
	switch f.Clearance {
	case ClearanceCleared:
		if !a.Cleared {
			return false
		}
	case ClearanceNotCleared:
		if a.Cleared {
			return false
		}
	}
	return (f.Shelving == ShelvingAny || (a.ShelfName != "") == (f.Shelving == ShelvingOnly)) &&
		(f.ChangedBefore.IsZero() || a.LastChanged.Before(f.ChangedBefore)) &&
		(f.Below == 0 || a.Severity < f.Below) && (f.Is == 0 || a.Severity == f.Is) && (f.Above == 0 || a.Severity > f.Above) &&
		(f.Operator == "" || a.Operator == f.Operator) &&
		(f.OperatorName == "" || len(a.Actions) > 0 && a.Actions[0].Operator == f.OperatorName) &&
		(f.Site == "" || a.Site == f.Site) && (f.Type == "" || a.Type == f.Type) &&
		(f.Resource == "" || under(a.Resource, f.Resource))
}

// under tells whether resource is top or lies below it. The parts of a
// resource are compared whole: unit/a1 is not below unit/a.
func under(resource, top string) bool {
	rest, ok := strings.CutPrefix(resource, strings.TrimSuffix(top, "/"))
	return ok && (top == "" || rest == "" || rest[0] == '/')
}

// Purge removes the alarms that pass f and returns how many. An alarm that is
// still active comes back, as a new entry, when its rule judges it next.
// Receivers that know an alarm as active hear that it is gone, even if it lay
// on a shelf: there will be no other end.
func (l *List) Purge(f Filter, op Operation) (int, error) {
	return l.tidy("purge", f, op, func(b *batch, a *Alarm) bool {
		b.emitBy(b.edit(a.Key), Purged, a.Announced, b.now, op)
		b.work[a.Key] = nil
		return true
	})
}

// Compress forgets all status changes but the latest of the alarms that pass
// f and returns how many alarms that concerned.
func (l *List) Compress(f Filter, op Operation) (int, error) {
	return l.tidy("compress", f, op, func(b *batch, a *Alarm) bool {
		if len(a.Changes) <= 1 {
			return false
		}
		short := b.edit(a.Key)
		short.Changes = a.Changes[:1:1]
		b.emitBy(short, Compressed, false, b.now, op)
		return true
	})
}

// tidy runs fn on all alarms that pass f, and returns how often it reported
// true. What a person was told is done is stored.
func (l *List) tidy(verb string, f Filter, op Operation, fn func(*batch, *Alarm) bool) (n int, err error) {
	if err := op.check(); err != nil {
		return 0, fmt.Errorf("%s alarms: %w", verb, err)
	}
	_, err = l.change(op.Now, func(b *batch) error {
		b.must = true
		l.Each(f, func(a *Alarm) bool {
			if fn(b, a) {
				n++
			}
			return true
		})
		return nil
	})
	if err != nil {
		return 0, fmt.Errorf("%s alarms: %w", verb, err)
	}
	return n, nil
}

// SeverityCount counts the alarms of one severity, with the columns of the
// summary of RFC 8632. Closed is the operator state.
type SeverityCount struct {
	Total               int `json:"total"`
	Cleared             int `json:"cleared"`
	ClearedNotClosed    int `json:"cleared_not_closed"`
	ClearedClosed       int `json:"cleared_closed"`
	NotCleared          int `json:"not_cleared"`
	NotClearedNotClosed int `json:"not_cleared_not_closed"`
	NotClearedClosed    int `json:"not_cleared_closed"`
}

// Summary counts alarms by severity, without those on shelves.
type Summary struct {
	Severities    map[Severity]SeverityCount `json:"severities"` // all of warning to critical
	ShelvesActive bool                       `json:"shelves_active"`
}

// Summary counts the alarms.
func (l *List) Summary() Summary {
	var counts [Critical + 1]SeverityCount
	out := Summary{Severities: map[Severity]SeverityCount{}}
	for _, a := range l.snapshot() {
		if a.ShelfName != "" {
			out.ShelvesActive = true
		} else {
			counts[min(a.Severity, Critical)].add(a)
		}
	}
	for s := Warning; s <= Critical; s++ {
		out.Severities[s] = counts[s]
	}
	return out
}

func (c *SeverityCount) add(a *Alarm) {
	c.Total++
	all, closed, open := &c.NotCleared, &c.NotClearedClosed, &c.NotClearedNotClosed
	if a.Cleared {
		all, closed, open = &c.Cleared, &c.ClearedClosed, &c.ClearedNotClosed
	}
	*all++
	if a.Operator == OperatorClosed {
		*closed++
	} else {
		*open++
	}
}
