// Package visit keeps the visits that people make to sites: who, when, why,
// what they found and did, and what every point read before and after. While a
// visit is open it is planned work: it holds back the alarms of what is worked
// on. From before and after it makes the proof of repair, and says which units
// need a new baseline.
//
// It guarantees that a visit is stored before anybody is told of it, with the
// line about it in the log of changes; that a restart or a kill loses none;
// that a site has at most one open visit, so that before and after belong to
// one piece of work; and that a visit which nobody ends is ended by itself,
// and says so. Its data come from people, from the views of the engine and
// from the history of readings.
package visit

import (
	"errors"
	"strconv"
	"strings"
	"time"

	"lightwell/alarms"
)

// State says how far a visit is.
type State string

// States, in their order.
const (
	Open     State = "open"     // somebody is there; alarms are held back
	Settling State = "settling" // over; the levels after it are being read
	Closed   State = "closed"
)

// Errors that refusals wrap. The text around them says what to do.
var (
	ErrUnknown   = errors.New("no such visit")
	ErrConflict  = errors.New("a visit is open")
	ErrOver      = errors.New("the visit is over")
	ErrRequest   = errors.New("the visit is not recorded")
	ErrNotStored = errors.New("the state cannot be written now, so nothing was recorded: try again when it can")
)

// A Visit is one stay of people at a site.
type Visit struct {
	ID        string    `json:"id"`
	Site      string    `json:"site"`
	State     State     `json:"state"`
	By        string    `json:"by" doc:"Who is there."`
	Reason    string    `json:"reason"`
	Resources []string  `json:"resources" doc:"What is worked on; alarms of it are held back while the visit is open."`
	Begun     time.Time `json:"begun"`
	Until     time.Time `json:"until" doc:"When it ends by itself."`
	Ended     time.Time `json:"ended,omitzero"`
	Found     string    `json:"found,omitempty"`
	Done      string    `json:"done,omitempty"`
	Exchanged []string  `json:"exchanged,omitempty" doc:"Ids of units that were exchanged for others."`
	Meter     []Meter   `json:"meter,omitempty" doc:"What a power meter showed."`
	Forgotten bool      `json:"forgotten,omitempty" doc:"Nobody ended it: it ended by itself."`

	AlarmsBefore []Alarm `json:"alarms_before" doc:"Raised when it began."`
	AlarmsAfter  []Alarm `json:"alarms_after" doc:"Raised when the levels after it were read."`

	Before []Level `json:"-"`
	After  []Level `json:"-"`

	number int64
}

// Meter is what a power meter showed at a unit's plug.
type Meter struct {
	Unit     string   `json:"unit"`
	Port     string   `json:"port,omitempty" doc:"Of the unit's optics; missing where it has one."`
	DBm      float64  `json:"dbm" minimum:"-90" maximum:"40"`
	Expected *float64 `json:"expected_dbm,omitempty" minimum:"-90" maximum:"40" doc:"What it should show: the last good measurement, or that of acceptance."`
}

// Alarm is an alarm as a visit met it.
type Alarm struct {
	ID       string `json:"id"`
	Resource string `json:"resource"`
	Type     string `json:"type"`
	Severity string `json:"severity"`
	Text     string `json:"text"`
}

// Work is the resource under which the visit holds back alarms.
func (v *Visit) Work() string { return "visit/" + v.ID }

// idOf is the id of the visit of that number: short, because people type it.
func idOf(number int64) string { return "v" + strconv.FormatInt(number, 10) }

// parseID reads what idOf wrote.
func parseID(id string) (number int64, ok bool) {
	digits, ok := strings.CutPrefix(id, "v")
	number, err := strconv.ParseInt(digits, 10, 64)
	return number, ok && err == nil && number > 0 && idOf(number) == id
}

// open tells whether the visit holds back alarms at now. A clock that was set
// back by more than the longest visit says nothing about it.
func (v *Visit) open(now time.Time) bool {
	return v.State == Open && now.Before(v.Until) && now.After(v.Begun.Add(-MaxLimit))
}

// end is when the visit ended, or now.
func (v *Visit) end(now time.Time) time.Time {
	if v.Ended.IsZero() {
		return now
	}
	return v.Ended
}

// noted returns what is kept of the alarms raised at a site.
func noted(list []alarms.Alarm) []Alarm {
	out := []Alarm{}
	for i := range list {
		if a := &list[i]; !a.Cleared {
			out = append(out, Alarm{a.ID, a.Resource, a.Type, a.Severity.String(), a.Text})
		}
	}
	return out
}
