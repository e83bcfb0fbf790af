package alarms

import "time"

// ChangeKind says what happened to an alarm.
type ChangeKind string

// Kinds of change. The first four are made by the resource, the rest by
// people, by planned work and by the list itself.
const (
	Raised          ChangeKind = "raised"
	ClearedChange   ChangeKind = "cleared"
	SeverityChanged ChangeKind = "severity-changed"
	TextChanged     ChangeKind = "text-changed"
	Acknowledged    ChangeKind = "acknowledged"
	Closed          ChangeKind = "closed"
	Reopened        ChangeKind = "reopened"
	Commented       ChangeKind = "commented"
	ShelvedChange   ChangeKind = "shelved"
	UnshelvedChange ChangeKind = "unshelved"
	Held            ChangeKind = "held"     // from now on kept silent; never to be notified
	Released        ChangeKind = "released" // a hold was lifted; with Notify it is the first announcement
	Purged          ChangeKind = "purged"
	Compressed      ChangeKind = "compressed" // its history was cut to the newest entry; never to be notified
)

// A Change is one thing that happened to one alarm.
type Change struct {
	Seq      uint64     `json:"seq"`  // rises with every change of the list
	Time     time.Time  `json:"time"` // when the state changed
	Kind     ChangeKind `json:"kind"`
	Alarm    Alarm      `json:"alarm"`              // copy, after the change
	Operator string     `json:"operator,omitempty"` // who, for changes made by people
	Text     string     `json:"text,omitempty"`     // what they said
	From     string     `json:"from,omitempty"`     // address they said it from
	Notify   bool       `json:"notify"`             // receivers may hear of it: not shelved, not held
}

// Brief is what the log of changes keeps of an alarm with each change.
type Brief struct {
	Key
	Severity Severity      `json:"severity"` // last severity, also when cleared
	Cleared  bool          `json:"cleared"`
	Text     string        `json:"text"`
	Operator OperatorState `json:"operator_state"`
	Hold     Hold          `json:"hold,omitzero"`
	Shelf    string        `json:"shelf,omitempty"`
	Notify   bool          `json:"notify"` // receivers could hear of it
	Impacted []string      `json:"impacted,omitempty"`
	BackedUp bool          `json:"backed_up,omitempty"`
}

// Brief returns what the log keeps of the alarm.
func (c *Change) Brief() Brief {
	a := &c.Alarm
	return Brief{a.Key, a.Severity, a.Cleared, a.Text, a.Operator, a.Hold, a.ShelfName, c.Notify, a.Details.Impacted, a.Details.BackedUp}
}

// NotifyMode says which status changes receivers hear of (RFC 8632,
// notify-status-changes).
type NotifyMode string

// Notify modes.
const (
	NotifyAllStateChanges NotifyMode = "all-state-changes"
	NotifyRaiseAndClear   NotifyMode = "raise-and-clear"
	NotifySeverityLevel   NotifyMode = "severity-level" // needs a level
)

// Passes tells whether a status change from before to after is sent. Both are
// Cleared where the alarm was, or is, not active; equal severities mean that
// the text changed. Clears are always sent.
func (m NotifyMode) Passes(level, before, after Severity) bool {
	switch m {
	case NotifyRaiseAndClear:
		return (before == Cleared) != (after == Cleared)
	case NotifySeverityLevel:
		return after == Cleared || after >= level || before >= level
	}
	return true
}

// Sends applies Passes to a change of the list. A release announces an alarm
// for the first time and counts as raised. What operators did is not a status
// change: it passes in every mode.
func (m NotifyMode) Sends(level Severity, c Change) bool {
	now := c.Alarm.State()
	before := now
	switch c.Kind {
	case Raised, Released:
		before = Cleared
	case ClearedChange:
		before = c.Alarm.Severity
	case SeverityChanged:
		if len(c.Alarm.Changes) > 1 {
			before = c.Alarm.Changes[1].Severity
		}
	case TextChanged:
	default:
		return true
	}
	return m.Passes(level, before, now)
}
