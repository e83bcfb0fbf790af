// Package replay runs engine and rules over recorded readings, without a
// daemon, a network or waiting, and tells which alarms and events would have
// come: the tool to try new limits on last year's readings before they are
// used.
//
// Readings come from CSV files, see Recording.Add. Time is that of the
// readings: sites are judged after each poll, so that what only a clock moves
// (the end of planned work, a delay that runs out between two polls) is told
// at the next poll of the site; Config.Tick asks for more. The same readings
// and settings give the same result.
package replay

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

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
	Time     time.Time `json:"time"` // when it would have been noticed
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
	r := &run{cfg: cfg, counts: map[string]*TypeCount{}}
	r.result.Lines, r.result.References = []Line{}, []Reference{}
	first, last := rec.Span()
	r.result.Summary = Summary{Readings: rec.Len(), From: first, To: last, Types: []TypeCount{}}
	points := rec.Points()
	if r.cfg.Fleet == nil {
		r.cfg.Fleet = Invent(points)
	}
	for _, id := range rec.units.all {
		if _, ok := r.cfg.Fleet.Unit(id); ok {
			r.result.Summary.Units++
		} else {
			r.result.Summary.Skipped = append(r.result.Summary.Skipped, id)
		}
	}
	slices.Sort(r.result.Summary.Skipped)
	r.now = first
	if err := r.takeBaselines(ctx, rec); err != nil {
		return nil, err
	}
	if err := r.replay(ctx, rec); err != nil {
		return nil, err
	}
	r.sum()
	return &r.result, nil
}

type run struct {
	cfg       Config
	now       time.Time
	engine    *alarms.Engine
	list      *alarms.List
	levels    levels
	counts    map[string]*TypeCount
	result    Result
	listening bool
}

// levels are the baselines in force; it implements alarms.BaselineSource.
type levels map[string]map[collector.Point]baseline.Level

// Levels implements alarms.BaselineSource.
func (l levels) Levels(unit string) (map[collector.Point]baseline.Level, bool) {
	of, ok := l[unit]
	return of, ok
}

// checkEvery is how many polls pass between looks at ctx.
const checkEvery = 4096

func (r *run) replay(ctx context.Context, rec *Recording) error {
	var calendar collector.Calendar
	if err := calendar.SetFleet(r.cfg.Fleet); err != nil {
		return fmt.Errorf("replay: %w", err)
	}
	r.list = alarms.NewList(alarms.ListConfig{Sink: r.changed})
	r.engine = alarms.NewEngine(alarms.EngineConfig{
		Rules: r.cfg.Rules, List: r.list, Baselines: r.levels, Calendar: &calendar,
		Now: func() time.Time { return r.now }, OnEvent: r.happened,
	})
	r.engine.SetFleet(r.cfg.Fleet)
	r.listening = true
	next := r.now.Add(r.cfg.Tick)
	for p := range rec.All() {
		if p.Started.Sub(r.now) > alarms.DefaultCoalesce {
			r.engine.Evaluate(r.now)
			next = r.tick(next, p.Started)
			r.now = p.Started
		}
		r.engine.Observe(p)
		if r.result.Summary.Polls++; r.result.Summary.Polls%checkEvery == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
	}
	r.engine.EvaluateAll(r.now)
	return nil
}

// tick looks at all sites at each tick from next to the next poll, and
// returns the tick after that.
func (r *run) tick(next, until time.Time) time.Time {
	if r.cfg.Tick <= 0 {
		return next
	}
	for ; next.Before(until); next = next.Add(r.cfg.Tick) {
		r.now = next
		r.engine.EvaluateAll(next)
	}
	return next
}

func (r *run) changed(changes []alarms.Change) {
	for i := range changes {
		c := &changes[i]
		r.count(c)
		r.result.Lines = append(r.result.Lines, Line{
			Time: r.now, What: AlarmLine, Kind: string(c.Kind), Since: c.Time, Severity: c.Alarm.State().String(), Type: c.Alarm.Type,
			Resource: c.Alarm.Resource, Site: c.Alarm.Site, Text: c.Alarm.Text, Held: c.Alarm.Hold.By, Notified: c.Notify,
		})
	}
}

func (r *run) count(c *alarms.Change) {
	n := r.counts[c.Alarm.Type]
	if n == nil {
		n = &TypeCount{Type: c.Alarm.Type}
		r.counts[c.Alarm.Type] = n
	}
	if c.Kind == alarms.Raised {
		n.Raised++
	}
	if c.Notify && (c.Kind == alarms.Raised || c.Kind == alarms.Released) {
		n.Notified++
	}
}

func (r *run) happened(e alarms.Event) {
	if r.listening {
		r.result.Lines = append(r.result.Lines, Line{Time: e.Time, What: EventLine, Kind: string(e.Kind), Resource: e.Resource, Site: e.Site, Text: e.Text})
	}
}

func (r *run) sum() {
	active := alarms.Filter{Clearance: alarms.ClearanceNotCleared, Shelving: alarms.ShelvingAny}
	r.list.Each(active, func(a *alarms.Alarm) bool {
		r.counts[a.Type].Active++
		return true
	})
	for _, n := range r.counts {
		r.result.Summary.Types = append(r.result.Summary.Types, *n)
	}
	slices.SortFunc(r.result.Summary.Types, func(a, b TypeCount) int {
		return cmp.Or(cmp.Compare(b.Raised, a.Raised), cmp.Compare(a.Type, b.Type))
	})
}
