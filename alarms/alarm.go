package alarms

import (
	"crypto/sha256"
	"encoding/base32"
	"slices"
	"strings"
	"time"
)

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
	Impacted     []string   `json:"impacted,omitempty"`      // resources that suffer: link/ID
	BackedUp     bool       `json:"backed_up,omitempty"`     // service continues on Backup (X.733 backed-up status)
	BackupObject string     `json:"backup_object,omitempty"` // resource that carries the load; required with BackedUp
	Observed     *float64   `json:"observed,omitempty"`      // value that crossed the threshold
	Threshold    *float64   `json:"threshold,omitempty"`
	Unit         string     `json:"unit,omitempty"`      // of Observed and Threshold
	Forecasts    []Forecast `json:"forecasts,omitempty"` // when limits are reached if it goes on
	Actions      []string   `json:"actions,omitempty"`
	Cautions     []string   `json:"cautions,omitempty"` // safety, whenever Actions send somebody to fibre, roof, antenna or mains
	Finding      *Finding   `json:"finding,omitempty"`  // what the diagnosis says of the cause; shared, never changed
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
	Announced    bool             `json:"announced"`                   // receivers know that it is active
	Told         Severity         `json:"announced_severity,omitzero"` // severity that receivers were told last; zero unless Announced
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

// MaxOperatorActions is the length of the ring of operator actions kept per
// alarm.
const MaxOperatorActions = 64

// NewID returns the id of the alarm with that key: 16 letters and digits. The
// same key has the same id for ever.
func NewID(k Key) string {
	sum := sha256.Sum256([]byte(k.Resource + "\x00" + k.Type + "\x00" + k.Qualifier))
	return strings.ToLower(base32.StdEncoding.EncodeToString(sum[:10]))
}

// Clone returns a deep copy.
func (a Alarm) Clone() Alarm {
	a.Details = a.Details.clone()
	a.Related = slices.Clone(a.Related)
	a.Changes = slices.Clone(a.Changes)
	a.Actions = slices.Clone(a.Actions)
	return a
}

// State returns the severity of the newest status change: Cleared once the
// alarm has cleared.
func (a Alarm) State() Severity {
	if a.Cleared {
		return Cleared
	}
	return a.Severity
}

// Shelved tells whether the alarm lies on a shelf.
func (a Alarm) Shelved() bool { return a.ShelfName != "" }

func (a *Alarm) silent() bool { return a.ShelfName != "" || a.Hold != Hold{} }

// record adds a status change that corresponds to the alarm as it is now. Two
// changes never share a time: the time is the key of the history.
func (a *Alarm) record(t time.Time) {
	kept := a.Changes
	if len(kept) > 0 && !t.After(kept[0].Time) {
		t = kept[0].Time.Add(time.Microsecond)
	}
	kept = kept[:min(len(kept), MaxStatusChanges-1)]
	a.Changes = append([]StatusChange{{t, a.State(), a.Text}}, kept...)
	a.LastChanged = t
}

// act adds an operator action that corresponds to the operator state now.
func (a *Alarm) act(t time.Time, operator, text string) {
	kept := a.Actions
	if len(kept) > 0 && !t.After(kept[0].Time) {
		t = kept[0].Time.Add(time.Microsecond)
	}
	kept = kept[:min(len(kept), MaxOperatorActions-1)]
	a.Actions = append([]OperatorAction{{t, operator, a.Operator, text}}, kept...)
}

func (d Details) clone() Details {
	d.Impacted = slices.Clone(d.Impacted)
	d.Actions, d.Forecasts = slices.Clone(d.Actions), slices.Clone(d.Forecasts)
	d.Cautions = slices.Clone(d.Cautions)
	d.Observed = clonePtr(d.Observed)
	d.Threshold = clonePtr(d.Threshold)
	return d
}

func clonePtr[T any](p *T) *T {
	if p == nil {
		return nil
	}
	v := *p
	return &v
}
