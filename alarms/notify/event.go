package notify

import (
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"strings"
	"time"

	cloudevents "github.com/cloudevents/sdk-go/v2/event"

	"lightwell/alarms"
)

// MaxBody is the largest body that is sent, in bytes; Standard Webhooks asks
// for about 20 kB.
const MaxBody = 20_000

// Event types that are not changes of an alarm. A change has the type
// lightwell.alarm.KIND, with underscores: lightwell.alarm.severity_changed.
const (
	HeartbeatType = "lightwell.heartbeat"
	ReminderType  = "lightwell.alarm.reminder"
)

// eventType names a change; only dots, letters, digits and underscores.
func eventType(k alarms.ChangeKind) string {
	return "lightwell.alarm." + strings.ReplaceAll(string(k), "-", "_")
}

// Message is what a webhook says: the input of a body template. In a
// CloudEvents body, ID to Sequence are attributes and Alarm or Heartbeat is
// the data.
type Message struct {
	ID        string
	Source    string
	Type      string
	Subject   string    // resource of the alarm; empty for a heartbeat
	Time      time.Time // when the state changed, UTC; for reminder and heartbeat: when it was made
	Sequence  uint64    // number of the change; a reminder has that of the last change it knows
	Alarm     Alarm     // zero for a heartbeat
	Heartbeat Heartbeat // zero for an alarm
}

// Alarm is the data of an alarm event: the alarm as it stands after the
// change. Lists too long for a webhook are cut, and the count of what is
// missing stands beside them.
type Alarm struct {
	ID                string               `json:"id"`
	Resource          string               `json:"resource"`
	Type              string               `json:"alarm_type"`
	Qualifier         string               `json:"alarm_qualifier,omitempty"`
	Site              string               `json:"site,omitempty"`
	Severity          alarms.Severity      `json:"severity"` // last severity, also when cleared
	Cleared           bool                 `json:"cleared"`
	Text              string               `json:"text"`
	Cause             alarms.Cause         `json:"probable_cause"` // IANA-ITU-ALARM-TC-MIB
	EventType         alarms.EventType     `json:"event_type"`
	Created           time.Time            `json:"time_created"`
	LastRaised        time.Time            `json:"last_raised"`
	LastChanged       time.Time            `json:"last_changed"`
	OperatorState     alarms.OperatorState `json:"operator_state"`
	Operator          string               `json:"operator,omitempty"`      // who made this change
	OperatorText      string               `json:"operator_text,omitempty"` // what they said
	Observed          *float64             `json:"observed,omitempty"`
	Threshold         *float64             `json:"threshold,omitempty"`
	Unit              string               `json:"unit,omitempty"`
	Forecasts         []alarms.Forecast    `json:"forecasts,omitempty"` // when limits are reached if it goes on
	BackedUp          bool                 `json:"backed_up,omitempty"`
	BackupObject      string               `json:"backup_object,omitempty"`
	Impacted          []string             `json:"impacted_resources,omitempty"`
	ImpactedOmitted   int                  `json:"impacted_resources_omitted,omitempty"`
	Actions           []string             `json:"actions,omitempty"`
	ActionsOmitted    int                  `json:"actions_omitted,omitempty"`
	Cautions          []string             `json:"cautions,omitempty"`
	Related           []alarms.Key         `json:"related_alarms,omitempty"`
	RelatedOmitted    int                  `json:"related_alarms_omitted,omitempty"`
	Reminder          int                  `json:"reminder,omitempty"` // number of the reminder, from 1
	CautionsShortened bool                 `json:"cautions_shortened,omitempty"`
	Finding           *Finding             `json:"finding,omitempty"` // what the diagnosis says of the cause
}

// Heartbeat is the data of a heartbeat event. A receiver that misses two in a
// row knows that silence means nothing.
type Heartbeat struct {
	IntervalSeconds float64   `json:"interval_seconds"`
	Pending         int       `json:"pending"` // messages that wait for this endpoint
	OldestPending   time.Time `json:"oldest_pending,omitzero"`
}

func alarmMessage(source string, c *alarms.Change) Message {
	m := Message{
		Source: source, Type: eventType(c.Kind), Subject: c.Alarm.Resource, Time: c.Time.UTC(), Sequence: c.Seq,
		Alarm: alarmData(&c.Alarm),
	}
	m.Alarm.Operator, m.Alarm.OperatorText = c.Operator, c.Text
	m.ID = eventID(source, c.Alarm.ID, string(c.Kind), c.Seq, c.Time)
	return m
}

// reminderMessage repeats an alarm for one endpoint; n counts from 1.
func reminderMessage(source, endpoint string, seq uint64, a *alarms.Alarm, n int, now time.Time) Message {
	m := Message{Source: source, Type: ReminderType, Subject: a.Resource, Time: now.UTC(), Sequence: seq, Alarm: alarmData(a)}
	m.Alarm.Reminder = n
	m.ID = eventID(source, a.ID, "reminder "+endpoint, uint64(n), now)
	return m
}

func heartbeatMessage(source, endpoint string, h Heartbeat, now time.Time) Message {
	return Message{
		ID: eventID(source, endpoint, "heartbeat", 0, now), Source: source, Type: HeartbeatType, Time: now.UTC(), Heartbeat: h,
	}
}

// eventID is the same for the same occurrence, so that publishing a change
// twice after a crash makes no second event.
func eventID(source, of, kind string, seq uint64, at time.Time) string {
	h := sha256.New()
	fmt.Fprintf(h, "%q %q %q", source, of, kind)
	var b [16]byte
	binary.BigEndian.PutUint64(b[:8], seq)
	binary.BigEndian.PutUint64(b[8:], uint64(at.UnixNano()))
	h.Write(b[:])
	return "evt_" + strings.ToLower(base32.StdEncoding.EncodeToString(h.Sum(nil)[:15]))
}

func alarmData(a *alarms.Alarm) Alarm {
	d := &a.Details
	return Alarm{
		ID: a.ID, Resource: a.Resource, Type: a.Type, Qualifier: a.Qualifier, Site: a.Site,
		Severity: a.Severity, Cleared: a.Cleared, Text: a.Text, Cause: a.Cause, EventType: a.EventType,
		Created: a.Created.UTC(), LastRaised: a.LastRaised.UTC(), LastChanged: a.LastChanged.UTC(), OperatorState: a.Operator,
		Observed: d.Observed, Threshold: d.Threshold, Unit: d.Unit, Forecasts: d.Forecasts, BackedUp: d.BackedUp, BackupObject: d.BackupObject,
		Impacted: d.Impacted, Actions: d.Actions, Cautions: d.Cautions, Related: a.Related, Finding: findingData(d.Finding),
	}
}

// encode writes a message as a CloudEvent in structured JSON of at most
// MaxBody bytes, cutting lists and texts as far as needed.
func encode(m *Message) ([]byte, error) {
	for items, text := 64, 4096; ; items, text = items/2, text/2 {
		body, err := encodeCut(m, items, text)
		if err != nil || len(body) <= MaxBody {
			return body, err
		}
		if text == 0 {
			return nil, fmt.Errorf("encode event %q: %d bytes even when cut", m.ID, len(body))
		}
	}
}

func encodeCut(m *Message, items, text int) ([]byte, error) {
	e := cloudevents.New()
	e.SetID(m.ID)
	e.SetSource(m.Source)
	e.SetType(m.Type)
	e.SetTime(m.Time)
	var data any = m.Heartbeat
	if m.Type != HeartbeatType {
		e.SetSubject(cut(m.Subject, max(text, 256)))
		e.SetExtension("sequence", fmt.Sprintf("%020d", m.Sequence))
		data = cutAlarm(m.Alarm, items, text)
	}
	if err := e.SetData(cloudevents.ApplicationJSON, data); err != nil {
		return nil, fmt.Errorf("encode event %q: %w", m.ID, err)
	}
	if err := e.Validate(); err != nil {
		return nil, fmt.Errorf("encode event %q: %w", m.ID, err)
	}
	body, err := json.Marshal(e)
	if err != nil {
		return nil, fmt.Errorf("encode event %q: %w", m.ID, err)
	}
	return body, nil
}

// cutAlarm keeps that many items of each list and that many bytes of each
// text. Cautions that were cut say so: nobody may take them for complete.
func cutAlarm(a Alarm, items, text int) Alarm {
	name := max(text, 256)
	for _, s := range []*string{&a.Resource, &a.Qualifier, &a.Site, &a.Operator, &a.BackupObject} {
		*s = cut(*s, name)
	}
	a.Text, a.OperatorText = cut(a.Text, text), cut(a.OperatorText, text)
	a.Impacted, a.ImpactedOmitted = cutList(a.Impacted, items, text)
	a.Actions, a.ActionsOmitted = cutList(a.Actions, items, text)
	cautions, omitted := cutList(a.Cautions, items, text)
	a.CautionsShortened = omitted > 0 || !equalLengths(cautions, a.Cautions)
	a.Cautions = cautions
	a.RelatedOmitted = max(len(a.Related)-items, 0)
	a.Related = a.Related[:len(a.Related)-a.RelatedOmitted]
	a.Finding = a.Finding.cut(items, text)
	return a
}

func cutList(list []string, items, text int) (kept []string, omitted int) {
	omitted = max(len(list)-items, 0)
	for _, s := range list[:len(list)-omitted] {
		kept = append(kept, cut(s, text))
	}
	return kept, omitted
}

func equalLengths(a, b []string) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if len(a[i]) != len(b[i]) {
			return false
		}
	}
	return true
}

// cut shortens s to about n bytes without splitting a character.
func cut(s string, n int) string {
	if len(s) <= n {
		return s
	}
	return strings.ToValidUTF8(s[:n], "") + "…"
}
