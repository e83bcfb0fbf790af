// Package view turns what the daemon knows at one moment into the answers
// that page and API give: the fleet at a glance, a site, a link from sky to
// room, a unit, the alarm list. It is pure: the same Snapshot gives the same
// answers, and nothing in it is changed.
//
// It guarantees that a number is shown only where a good reading stands behind
// it. Its data are the fleet, the engine's unit views and the alarm list.
package view

import (
	"slices"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// Snapshot is what the answers are made from.
type Snapshot struct {
	Now    time.Time
	Fleet  *collector.Fleet
	Units  []alarms.UnitView
	Alarms []alarms.Alarm // all of the list
	// During tells the planned work in force at one of the resources; nil: none.
	During func(resources []string, now time.Time) (collector.PlannedWork, bool)
	// Baseline tells how far a unit's commissioning is; nil: by the unit's view.
	Baseline func(unit string) string
	// Findings tells what the diagnosis found at a site; nil: nothing.
	Findings func(site string) []alarms.Finding
}

// Board is an indexed Snapshot. Safe for concurrent reading.
type Board struct {
	Snapshot
	units  map[string]*alarms.UnitView
	worst  map[string]alarms.Severity  // by resource: of the alarms that speak
	silent map[string]bool             // by resource: an alarm is held back there
	hurt   map[string]bool             // by resource: an alarm speaks and nothing stands in for what failed
	why    map[string][]alarms.Finding // by link
}

// NewBoard indexes s.
func NewBoard(s Snapshot) *Board {
	b := &Board{
		Snapshot: s,
		units:    make(map[string]*alarms.UnitView, len(s.Units)),
		worst:    map[string]alarms.Severity{},
		silent:   map[string]bool{},
		hurt:     map[string]bool{},
		why:      map[string][]alarms.Finding{},
	}
	for i := range s.Units {
		b.units[s.Units[i].Unit.ID] = &s.Units[i]
	}
	for i := range s.Alarms {
		b.mark(&s.Alarms[i])
	}
	for _, site := range s.Fleet.Sites {
		for _, f := range b.findings(site.ID) {
			for _, link := range f.Links {
				b.why[link] = append(b.why[link], f)
			}
		}
	}
	return b
}

// findings returns what was found at a site.
func (b *Board) findings(site string) []alarms.Finding {
	if b.Findings == nil {
		return nil
	}
	return b.Findings(site)
}

// mark notes an alarm at its own resource and at those it impacts.
func (b *Board) mark(a *alarms.Alarm) {
	if a.Cleared || IsShelved(a) {
		return
	}
	at := a.Details.Impacted
	if kind, _, _ := Resource(a.Resource); kind != "cable" || len(at) == 0 {
		at = append([]string{base(a.Resource)}, at...) // a cable may hurt some of its strands only
	}
	for _, resource := range at {
		if a.Hold.Reason != "" {
			b.silent[resource] = true
		} else {
			b.worst[resource] = max(b.worst[resource], a.Severity)
			b.hurt[resource] = b.hurt[resource] || !a.Details.BackedUp
		}
	}
}

// Resource splits the name of a resource: kind, id, and for a point the rest.
func Resource(name string) (kind, id, rest string) {
	kind, id, _ = strings.Cut(name, "/")
	id, rest, _ = strings.Cut(id, "/")
	return kind, id, rest
}

func base(resource string) string {
	kind, id, rest := Resource(resource)
	if rest == "" {
		return resource
	}
	return kind + "/" + id
}

// IsShelved tells whether somebody put the alarm aside.
func IsShelved(a *alarms.Alarm) bool { return a.Shelved() }

// Speaks tells whether the alarm asks for attention now: raised, not held
// back, not shelved, and not closed by an operator.
func Speaks(a *alarms.Alarm) bool {
	return !a.Cleared && a.Hold.Reason == "" && !IsShelved(a) && a.Operator != alarms.OperatorClosed
}

// State is the condition of a site, unit or link in one word.
type State string

// States, best first; a severity's name is a State too.
const (
	StateGood          State = "good"
	StateCommissioning State = "commissioning" // no accepted baseline: not compared yet
	StateHeld          State = "held"          // an alarm is held back: planned work, or the consequence of another
	StateSilent        State = "silent"        // not read yet, or no answer and no alarm yet
)

// state is the worst of the alarms at the resources and the fallback.
func (b *Board) state(fallback State, resources ...string) State {
	worst, held := alarms.Severity(0), false
	for _, r := range resources {
		worst = max(worst, b.worst[r])
		held = held || b.silent[r]
	}
	switch {
	case worst != 0:
		return State(worst.String())
	case held:
		return StateHeld
	}
	return fallback
}

// Counts is a number of alarms that speak, per severity.
type Counts struct {
	Critical      int `json:"critical"`
	Major         int `json:"major"`
	Minor         int `json:"minor"`
	Warning       int `json:"warning"`
	Indeterminate int `json:"indeterminate,omitempty"`
}

func (c *Counts) add(s alarms.Severity) {
	switch s {
	case alarms.Critical:
		c.Critical++
	case alarms.Major:
		c.Major++
	case alarms.Minor:
		c.Minor++
	case alarms.Warning:
		c.Warning++
	case alarms.Indeterminate:
		c.Indeterminate++
	}
}

// Total is the sum over all severities.
func (c Counts) Total() int { return c.Critical + c.Major + c.Minor + c.Warning + c.Indeterminate }

// Worst is the name of the worst severity counted, or "".
func (c Counts) Worst() string {
	for _, s := range c.Each() {
		if s.Count > 0 {
			return s.Severity
		}
	}
	return ""
}

// Count is one severity's part of Counts.
type Count struct {
	Severity string
	Count    int
}

// Each returns the counts, worst first.
func (c Counts) Each() []Count {
	return []Count{{"critical", c.Critical}, {"major", c.Major}, {"minor", c.Minor}, {"warning", c.Warning}, {"indeterminate", c.Indeterminate}}
}

// attention returns the alarms that speak, worst first.
func (b *Board) attention(keep func(*alarms.Alarm) bool) []Alarm {
	out := []Alarm{}
	for i := range b.Alarms {
		if a := &b.Alarms[i]; Speaks(a) && keep(a) {
			out = append(out, b.alarm(a))
		}
	}
	slices.SortStableFunc(out, func(x, y Alarm) int { return byUrgency(&x.Alarm, &y.Alarm) })
	return out
}

// Rank orders states, worst highest.
func (s State) Rank() int {
	switch s {
	case StateGood:
		return 0
	case StateCommissioning:
		return 1
	case StateHeld:
		return 2
	case StateSilent:
		return 3
	}
	v, _ := alarms.ParseSeverity(string(s)) // what is not known ranks lowest
	return 4 + int(v)
}
