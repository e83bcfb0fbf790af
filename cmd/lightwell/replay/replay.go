// Package replay runs engine and rules over recorded readings, without a
// daemon, a network or waiting, and tells which alarms and events would have
// come: the tool to try new limits on last year's readings before they are
// used.
//
// Readings come from CSV files, see Recording.Add. Time is that of the
// readings: sites are judged after each poll, so that what only a clock moves
// (the end of planned work, a delay that runs out between two polls) is told
// at the next poll of the site; Config.Tick asks for more. Sites know nothing
// of each other and are replayed side by side. The same readings and settings
// give the same result.
package replay

import (
	"cmp"
	"context"
	"fmt"
	"runtime"
	"slices"
	"time"

	"golang.org/x/sync/errgroup"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// Config says how to replay.
type Config struct {
	Fleet *collector.Fleet // nil: one is made up, see Invent
	Rules []alarms.Rule
	// A unit's baseline is what its first readings give: as many good polls
	// and as much time as both say. It is in force from the beginning. Both
	// zero: no unit has a baseline.
	BaselinePolls int
	BaselineTime  time.Duration
	Tick          time.Duration // of the readings' time, between further looks at all sites; 0: none
}

// Kinds of Line.
const (
	AlarmLine = "alarm"
	EventLine = "event"
)

// A Line is one thing that would have been told.
type Line struct {
	Time     time.Time `json:"time"` // when it would have been noticed, to a tenth of a second
	What     string    `json:"what"` // AlarmLine or EventLine
	Kind     string    `json:"kind"` // of the change, or of the event
	Since    time.Time `json:"since,omitzero"`
	Severity string    `json:"severity,omitempty"`
	Type     string    `json:"type,omitempty"`
	Resource string    `json:"resource"`
	Site     string    `json:"site,omitempty"`
	Text     string    `json:"text,omitempty"`
	Held     string    `json:"held_by,omitempty"` // planned work or cause that keeps it silent
	Notified bool      `json:"notified"`          // receivers would have heard of it
}

// A Reference is the baseline of one unit.
type Reference struct {
	Unit     string                    `json:"unit"`
	Until    time.Time                 `json:"until,omitzero"` // of the readings it was taken from
	Levels   map[string]baseline.Level `json:"levels"`
	Findings []string                  `json:"findings,omitempty"` // what speaks against it
}

// TypeCount says how often alarms of a type came.
type TypeCount struct {
	Type     string `json:"type"`
	Raised   int    `json:"raised"`
	Notified int    `json:"notified"` // of them, or released later
	Active   int    `json:"active"`   // at the end
}

// A Summary is what a replay comes to.
type Summary struct {
	Readings int         `json:"readings"`
	Polls    int         `json:"polls"`
	Units    int         `json:"units"`
	Skipped  []string    `json:"skipped_units,omitempty"` // have readings, but are not in the fleet
	From     time.Time   `json:"from,omitzero"`
	To       time.Time   `json:"to,omitzero"`
	Types    []TypeCount `json:"types"` // of those that came, most frequent first
}

// A Result is everything that a replay finds.
type Result struct {
	Summary    Summary     `json:"summary"`
	References []Reference `json:"baselines"`
	Lines      []Line      `json:"lines"`
}

// Run replays a recording. It returns early with an error only when ctx ends.
func Run(ctx context.Context, cfg Config, rec *Recording) (*Result, error) {
	if cfg.Fleet == nil {
		cfg.Fleet = Invent(rec.Points())
	}
	var calendar collector.Calendar
	if err := calendar.SetFleet(cfg.Fleet); err != nil {
		return nil, fmt.Errorf("replay: %w", err)
	}
	first, last := rec.Span()
	sum := Summary{Readings: rec.Len(), From: first, To: last}
	for _, id := range rec.units.all {
		if _, ok := cfg.Fleet.Unit(id); ok {
			sum.Units++
		} else {
			sum.Skipped = append(sum.Skipped, id)
		}
	}
	slices.Sort(sum.Skipped)
	parts := make([]*part, min(max(1, len(cfg.Fleet.Sites)), runtime.GOMAXPROCS(0)))
	group, ctx := errgroup.WithContext(ctx)
	for i := range parts {
		parts[i] = newPart(cfg, rec, &calendar, i, len(parts))
		group.Go(func() error { return parts[i].run(ctx) })
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	return merged(sum, parts), nil
}

// merged puts the parts together, in an order that does not depend on how
// many they are.
func merged(sum Summary, parts []*part) *Result {
	r := &Result{Summary: sum, Lines: []Line{}, References: []Reference{}}
	counts := map[string]*TypeCount{}
	for _, p := range parts {
		r.Summary.Polls += p.polls
		r.Lines = append(r.Lines, p.lines...)
		r.References = append(r.References, p.references...)
		for name, n := range p.counts {
			if of := counts[name]; of != nil {
				of.Raised, of.Notified, of.Active = of.Raised+n.Raised, of.Notified+n.Notified, of.Active+n.Active
			} else {
				counts[name] = n
			}
		}
	}
	r.Summary.Types = make([]TypeCount, 0, len(counts))
	for _, n := range counts {
		r.Summary.Types = append(r.Summary.Types, *n)
	}
	slices.SortFunc(r.Summary.Types, func(a, b TypeCount) int {
		return cmp.Or(cmp.Compare(b.Raised, a.Raised), cmp.Compare(a.Type, b.Type))
	})
	slices.SortStableFunc(r.Lines, func(a, b Line) int { return cmp.Or(a.Time.Compare(b.Time), cmp.Compare(a.Site, b.Site)) })
	slices.SortFunc(r.References, func(a, b Reference) int { return cmp.Compare(a.Unit, b.Unit) })
	return r
}
