package alarms

import "time"

// Key is the identity of an alarm after RFC 8632: the same key is the same
// alarm, whatever its severity or text.
type Key struct {
	Resource  string `json:"resource"`  // site/ID, cable/ID, link/ID, unit/ID, unit/ID/POINT or daemon
	Type      string `json:"type"`      // id of a Type
	Qualifier string `json:"qualifier"` // usually empty
}

// OperatorState is what people have said about an alarm.
type OperatorState string

// Operator states. Shelved and UnShelved are set by the list, not by people.
const (
	OperatorNone   OperatorState = "none"
	OperatorAck    OperatorState = "ack"
	OperatorClosed OperatorState = "closed"
	Shelved        OperatorState = "shelved"
	UnShelved      OperatorState = "un-shelved"
)

// StatusChange is one entry of an alarm's history.
type StatusChange struct {
	Time     time.Time `json:"time"` // when the state changed in the resource
	Severity Severity  `json:"severity"`
	Text     string    `json:"text"`
}

// OperatorAction is one entry of what people did with an alarm.
type OperatorAction struct {
	Time     time.Time     `json:"time"`
	Operator string        `json:"operator"`
	State    OperatorState `json:"state"`
	Text     string        `json:"text,omitempty"`
}

// Cause is a probable cause of the IANA-ITU-ALARM-TC-MIB registry, spelled
// and numbered as registered there.
type Cause struct {
	Name   string `json:"name"`
	Number int    `json:"number"`
}

// EventType is an event type of X.733 as registered by IANA.
type EventType string

// Event types in use.
const (
	CommunicationsAlarm   EventType = "communicationsAlarm"
	QualityOfServiceAlarm EventType = "qualityOfServiceAlarm"
	ProcessingErrorAlarm  EventType = "processingErrorAlarm"
	EquipmentAlarm        EventType = "equipmentAlarm"
	EnvironmentalAlarm    EventType = "environmentalAlarm"
	SecurityAlarm         EventType = "securityServiceOrMechanismViolation"
)

// Details are the parts of an alarm that a rule finds anew at each
// evaluation. A change of details alone is not a status change.
type Details struct {
	Impacted     []string `json:"impacted,omitempty"`      // resources that suffer: link/ID
	BackedUp     bool     `json:"backed_up,omitempty"`     // service continues on Backup (X.733 backed-up status)
	BackupObject string   `json:"backup_object,omitempty"` // resource that carries the load; required with BackedUp
	Observed     *float64 `json:"observed,omitempty"`      // value that crossed the threshold
	Threshold    *float64 `json:"threshold,omitempty"`
	Unit         string   `json:"unit,omitempty"` // of Observed and Threshold
	Actions      []string `json:"actions,omitempty"`
	Cautions     []string `json:"cautions,omitempty"` // safety, whenever Actions send somebody to fibre, roof, antenna or mains
}

// Hold says why an alarm is kept silent. The zero Hold means that it speaks.
type Hold struct {
	Reason string `json:"reason,omitempty"` // HoldPlannedWork or HoldSymptom
	By     string `json:"by,omitempty"`     // id of the planned work, or resource of the cause
}

// Reasons of a Hold.
const (
	HoldPlannedWork = "suppressed by planned work"
	HoldSymptom     = "consequence of another alarm"
)

// Alarm is one entry of the alarm list. It stays after it has cleared, until
// it is purged. Values are copies: changing one changes nothing in the list.
type Alarm struct {
	Key
	ID           string           `json:"id"` // short, URL-safe, made from the key
	Site         string           `json:"site,omitempty"`
	Severity     Severity         `json:"severity"` // last severity, never cleared
	Cleared      bool             `json:"cleared"`
	Text         string           `json:"text"`
	Cause        Cause            `json:"cause"`
	EventType    EventType        `json:"event_type"`
	Created      time.Time        `json:"time_created"`
	LastRaised   time.Time        `json:"last_raised"`
	LastChanged  time.Time        `json:"last_changed"`
	Details      Details          `json:"details"`
	Related      []Key            `json:"related,omitempty"`
	Hold         Hold             `json:"hold,omitzero"`
	Announced    bool             `json:"announced"` // receivers know that it is active
	Operator     OperatorState    `json:"operator_state"`
	ShelfName    string           `json:"shelf,omitempty"`
	ShelvedUntil time.Time        `json:"shelved_until,omitzero"`
	Changes      []StatusChange   `json:"status_changes"`   // newest first, at most MaxStatusChanges
	Actions      []OperatorAction `json:"operator_actions"` // newest first
	Version      uint64           `json:"version"`          // rises with every change, for conditional updates
}

// MaxStatusChanges is the length of the ring of status changes kept per
// alarm; RFC 8632's default.
const MaxStatusChanges = 32
