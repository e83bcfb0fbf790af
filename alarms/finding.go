package alarms

import (
	"fmt"
	"slices"
	"strings"
	"time"
)

// Wording says how sure a finding is, in the word that a text for people uses.
type Wording string

// Wordings, from the surest down.
const (
	Confirmed  Wording = "confirmed"   // the equipment itself says so: a state, not a level
	VeryLikely Wording = "very likely" // three signals that agree
	Likely     Wording = "likely"      // two
	Possible   Wording = "possible"    // one, or another cause fits nearly as well
)

// A Finding is what the deviations of a site have in common: a cause, where it
// is, what speaks for it and what would disprove it, and what a visit needs.
// It is never changed once made: findings are shared, not copied.
type Finding struct {
	Cause       string        `json:"cause" doc:"Id of the cause in the table of causes."`
	Title       string        `json:"title"`
	Wording     Wording       `json:"wording" doc:"How sure it is: confirmed, very likely, likely or possible."`
	Resource    string        `json:"resource" doc:"Where it is: link/ID, cable/ID, unit/ID or site/ID."`
	Place       string        `json:"place" doc:"The same for people, with strand and end."`
	Strand      int           `json:"strand,omitempty" doc:"Strand of the cable, where it is one fibre."`
	Direction   string        `json:"direction,omitempty" doc:"downlink or uplink, where it is one fibre of a link."`
	Size        *float64      `json:"size,omitempty" doc:"How much, by the best fit."`
	Unit        string        `json:"unit,omitempty" doc:"Unit of the size."`
	Since       time.Time     `json:"since,omitzero" doc:"When the first of its signs was seen."`
	Links       []string      `json:"links,omitempty" doc:"Links that it touches."`
	Resources   []string      `json:"resources,omitempty" doc:"Resources whose alarms it explains."`
	Evidence    []string      `json:"evidence" doc:"What speaks for it, and against it."`
	Disproof    string        `json:"disproof,omitempty" doc:"What would disprove it."`
	Deciding    string        `json:"deciding,omitempty" doc:"The measurement that decides between it and the others."`
	Actions     []string      `json:"actions,omitempty" doc:"What to do, in this order."`
	Bring       []string      `json:"bring,omitempty" doc:"What the visit needs."`
	Cautions    []string      `json:"cautions,omitempty" doc:"Safety for this work. Local codes and licensed persons decide."`
	Probability float64       `json:"probability" doc:"Share of the likelihood among the causes that could explain the same signs; rounded."`
	Others      []Alternative `json:"others,omitempty" doc:"Causes that fit the same signs less well, best first."`
	// Types are the types of alarm that it explains; empty: any. A cause that
	// leaves the links alone explains no lost light.
	Types []string `json:"-"`
	// NoVisit: it explains what is seen and asks nobody to go there.
	NoVisit bool `json:"no_visit,omitempty" doc:"Nobody has to go there for it."`
}

// An Alternative is another cause that could explain the same signs.
type Alternative struct {
	Cause       string  `json:"cause"`
	Title       string  `json:"title"`
	Resource    string  `json:"resource"`
	Place       string  `json:"place"`
	Probability float64 `json:"probability"`
}

// Sentence says it in one sentence: wording, title, place, size.
func (f *Finding) Sentence() string {
	s := fmt.Sprintf("%s %s: %s", f.Wording, strings.ToLower(f.Title[:1])+f.Title[1:], f.Place)
	if f.Wording == Confirmed {
		s = fmt.Sprintf("confirmed: %s: %s", strings.ToLower(f.Title[:1])+f.Title[1:], f.Place)
	}
	if f.Size != nil {
		s += fmt.Sprintf(", %.1f %s", *f.Size, f.Unit)
	}
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// explains tells whether an alarm is one of the signs of the finding. Alarms
// about Lightwell's own work, such as a baseline that is missing, are not.
func (f *Finding) explains(k Key, t *Type) bool {
	if t.EventType == ProcessingErrorAlarm || t.EventType == SecurityAlarm {
		return false
	}
	if len(f.Types) > 0 && !slices.Contains(f.Types, k.Type) {
		return false
	}
	return slices.Contains(f.Resources, k.Resource)
}

// Work is something that people did, or do, at a site: planned work or a
// visit. What changes while hands are in the rack has other likely causes
// than what changes by itself.
type Work struct {
	ID         string
	Resources  []string // site/ID, unit/ID, link/ID, cable/ID that were touched
	Begin, End time.Time
	Exchanged  []string       // ids of units that were exchanged for others
	Meter      []MeterReading // taken at a plug
	Reason     string         // for people
}

// MeterReading is what a power meter showed at a unit's plug during a visit.
type MeterReading struct {
	Unit string
	Port string // of the unit's optics; "" where it has one
	DBm  float64
	// Expected is what it should show: the last good measurement, or that of
	// acceptance.
	ExpectedDBm float64
	At          time.Time
}

// Touches tells whether the work was at one of the resources, or at the whole
// site, and not over for longer than after when t came.
func (w *Work) Touches(t time.Time, after time.Duration, resources ...string) bool {
	if t.Before(w.Begin) || !w.End.IsZero() && t.After(w.End.Add(after)) {
		return false
	}
	return slices.ContainsFunc(resources, func(r string) bool { return slices.Contains(w.Resources, r) })
}
