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
)

// A Change is one thing that happened to one alarm.
type Change struct {
	Seq      uint64     `json:"seq"`  // rises by one with every change of the list
	Time     time.Time  `json:"time"` // when the state changed
	Kind     ChangeKind `json:"kind"`
	Alarm    Alarm      `json:"alarm"`              // copy, after the change
	Operator string     `json:"operator,omitempty"` // who, for changes made by people
	Text     string     `json:"text,omitempty"`     // what they said
	Notify   bool       `json:"notify"`             // receivers may hear of it: not shelved, not held
}
