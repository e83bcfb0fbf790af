package trend

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"slices"
	"sync"
	"sync/atomic"

	"lightwell/alarms/drift"
	"lightwell/collector"
	"lightwell/collector/state"
)

// groupKey says which points are alike: the same quantity of the same model.
type groupKey struct {
	model    string
	quantity collector.Quantity
}

func (k groupKey) String() string { return k.model + "/" + string(k.quantity) }

// group calibrates like points together.
type group struct {
	key     groupKey
	current atomic.Pointer[drift.Settings] // a copy: members read it while the group learns

	mu      sync.Mutex // guards the next three
	learner *drift.Group
	counted int64 // newest turn that the group has counted, Unix seconds
	stored  int64 // counted, as it is stored
}

// settings returns what is in force for the members.
func (g *group) settings() *drift.Settings { return g.current.Load() }

// observe counts what a reading of a member brought to an end. Turns that are
// fed again after a restart are not counted twice.
func (g *group) observe(t drift.Turn, at int64, again bool) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if again && at <= g.stored {
		return
	}
	g.counted = max(g.counted, at)
	g.learner.Observe(t)
	if now := *g.learner.Settings(); now != *g.current.Load() {
		g.current.Store(&now)
	}
}

// groups are those of the fleet. They stay for as long as the program runs,
// so that what a group has learnt outlives a reload.
type groups struct {
	base drift.Settings

	mu     sync.Mutex
	all    map[groupKey]*group
	parked map[string][]byte // stored, by key; not met yet
}

// storedGroup is the body of a group's row.
type storedGroup struct {
	Tally   drift.Tally `json:"tally"`
	Counted int64       `json:"counted"`
}

// of returns the group of a quantity of a model.
func (gs *groups) of(model string, q collector.Quantity) *group {
	gs.mu.Lock()
	defer gs.mu.Unlock()
	key := groupKey{model, q}
	if g := gs.all[key]; g != nil {
		return g
	}
	var was storedGroup
	if body, ok := gs.parked[key.String()]; ok {
		if json.Unmarshal(body, &was) != nil { // of another program: the group learns anew
			was = storedGroup{}
		}
		delete(gs.parked, key.String())
	}
	g := &group{key: key, learner: drift.NewGroup(gs.base, was.Tally), counted: was.Counted, stored: was.Counted}
	now := *g.learner.Settings()
	g.current.Store(&now)
	gs.all[key] = g
	return g
}

func (gs *groups) sorted() []*group {
	gs.mu.Lock()
	defer gs.mu.Unlock()
	return slices.SortedFunc(maps.Values(gs.all), func(a, b *group) int { return cmp.Compare(a.key.String(), b.key.String()) })
}

const groupRow = "group/"

// rows returns what is to be stored of the groups that learnt something.
func (gs *groups) rows() ([]state.TrendRow, error) {
	var out []state.TrendRow
	for _, g := range gs.sorted() {
		g.mu.Lock()
		was, changed := storedGroup{g.learner.Tally(), g.counted}, g.counted > g.stored
		g.mu.Unlock()
		if !changed {
			continue
		}
		body, err := json.Marshal(was)
		if err != nil {
			return nil, fmt.Errorf("encode group %s: %w", g.key, err)
		}
		out = append(out, state.TrendRow{Name: groupRow + g.key.String(), Body: body})
	}
	return out, nil
}

// wrote notes that rows are stored. What was counted meanwhile counts as
// stored too: less than one day of a point.
func (gs *groups) wrote() {
	for _, g := range gs.sorted() {
		g.mu.Lock()
		g.stored = g.counted
		g.mu.Unlock()
	}
}

// A GroupTrend is how like points fare together.
type GroupTrend struct {
	Model       string
	Quantity    collector.Quantity
	Mirrors     int     // alarms of the mirror, false by construction
	PointDays   float64 // watched
	FalseAlarms float64 // running estimate, per 100 point-years; NaN: nothing watched yet
	DriftScale  float64 // factor on the drift thresholds that the mirror has led to
	StepScale   float64 // the same on the step threshold
}

// Groups returns how the groups fare, by model and quantity.
func (k *Keeper) Groups() []GroupTrend {
	var out []GroupTrend
	for _, g := range k.groups.sorted() {
		g.mu.Lock()
		t := g.learner.Tally()
		s := g.learner.Settings()
		out = append(out, GroupTrend{
			Model: g.key.model, Quantity: g.key.quantity, Mirrors: t.Mirrors, PointDays: t.PointDays, FalseAlarms: g.learner.FalseAlarms(),
			DriftScale: float64(s.DriftScale), StepScale: float64(s.StepScale),
		})
		g.mu.Unlock()
	}
	return out
}
