package alarms

import "slices"

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

// Trend compares the severity of an alarm with those of the other active
// alarms of the same resource (X.733 trend indication): more-severe when it is
// above all of them, less-severe when one is worse, no-change when it equals
// the worst. Without others there is no trend, and the word is empty.
func Trend(severity Severity, others []Severity) string {
	if len(others) == 0 {
		return ""
	}
	switch worst := slices.Max(others); {
	case severity > worst:
		return "more-severe"
	case severity < worst:
		return "less-severe"
	}
	return "no-change"
}
