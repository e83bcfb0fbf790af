package alarms

import (
	"context"
	"maps"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"

	"lightwell/collector"
)

// WorkCalendar tells which planned work is under way.
type WorkCalendar interface {
	During(resources []string, now time.Time) (collector.PlannedWork, bool)
}

// EngineConfig configures an Engine.
type EngineConfig struct {
	Rules     []Rule
	List      *List
	Baselines BaselineSource // nil: no unit has a baseline
	Trends    TrendSource    // nil: no slow change is followed
	Calendar  WorkCalendar   // nil: no planned work
	// Diagnose says what the deviations of a site have in common, the most
	// probable finding first. It is asked while something deviates or an alarm
	// is active, must be pure, and may use View.Findings to keep to what it
	// said. Nil: nothing is said of causes.
	Diagnose func(*View) []Finding
	// Works tells what people did at a site lately, each time it is judged;
	// nil: not known.
	Works func(site string, now time.Time) []Work
	// Commit stores a round before anybody else sees it, one call at a time.
	// When it fails the daemon goes on, and the round is offered again, merged
	// with those that follow it; but what an operator wants is refused. It may read the list and the units, but call
	// nothing else of the engine. Nil: nothing is stored.
	Commit   func(Round) error
	Evidence map[Key]Evidence // as Engine.Evidence gave it before a restart
	OnEvent  func(Event)      // told of every event; must return soon and call nothing of the engine; nil: nobody
	Log      *zap.Logger      // nil: silent
	Now      func() time.Time // nil: time.Now
	Coalesce time.Duration    // from a poll to the evaluation of its site; 0: DefaultCoalesce
	Tick     time.Duration    // between evaluations without polls; 0: DefaultTick
}

// Defaults of EngineConfig.
const (
	// DefaultCoalesce gathers the polls of a site that arrive together, and
	// stays far below the second that a person may wait for an alarm.
	DefaultCoalesce = 100 * time.Millisecond
	// DefaultTick is how late a delay that runs out without a poll may be
	// noticed.
	DefaultTick = 5 * time.Second
)

// An Engine keeps what the polls brought, has the rules judge it site by
// site, and brings the outcome into the list. Its methods are safe for
// concurrent use.
type Engine struct {
	cfg    EngineConfig
	types  map[string]*Type // by id
	rules  []typedRule
	events eventLog
	load   loadMeter
	subs   subscribers
	wake   chan struct{} // holds one token when a site is dirty

	mu    sync.RWMutex // guards the next four; the states in them have locks of their own
	fleet *collector.Fleet
	sites []*siteState
	index map[string]*siteState // by id
	units map[string]*unitState

	dirtyMu sync.Mutex
	dirty   map[string]bool

	evalMu   sync.Mutex // one evaluation at a time; guards the next three
	evidence map[Key]*Evidence
	failed   map[string]bool // rules that have panicked
	holds    map[string]map[Hold]int

	store   roundStore
	started time.Time
	rounds  atomic.Uint64
	panics  atomic.Uint64
}

// typedRule is a rule and its type, asked for once.
type typedRule struct {
	Rule
	typ *Type
}

// NewEngine makes an engine. It takes over the list: what changes in it from
// now on, by whomever, goes to Commit.
func NewEngine(cfg EngineConfig) *Engine {
	if cfg.Log == nil {
		cfg.Log = zap.NewNop()
	}
	if cfg.Now == nil {
		cfg.Now = time.Now
	}
	if cfg.Coalesce <= 0 {
		cfg.Coalesce = DefaultCoalesce
	}
	if cfg.Tick <= 0 {
		cfg.Tick = DefaultTick
	}
	e := &Engine{
		cfg: cfg, types: map[string]*Type{}, wake: make(chan struct{}, 1), fleet: collector.NewFleet(collector.Fleet{}),
		units: map[string]*unitState{}, dirty: map[string]bool{}, evidence: map[Key]*Evidence{}, failed: map[string]bool{},
		holds: map[string]map[Hold]int{}, store: roundStore{write: cfg.Commit, log: cfg.Log}, started: cfg.Now(),
	}
	e.load.since, e.events.tell = e.started, cfg.OnEvent
	for _, r := range cfg.Rules {
		t := r.Type()
		e.types[t.ID] = &t
		e.rules = append(e.rules, typedRule{r, &t})
	}
	for k, ev := range cfg.Evidence {
		e.evidence[k] = &ev
	}
	cfg.List.attach(e.store.take, func(now time.Time, changes []Change) {
		e.load.take(now, changes)
		e.subs.signal()
	})
	return e
}

// Run evaluates each site soon after its polls, and all sites at every tick,
// until ctx ends. What was observed until then is judged before it returns.
func (e *Engine) Run(ctx context.Context) error {
	tick := time.NewTicker(e.cfg.Tick)
	defer tick.Stop()
	var due <-chan time.Time
	for {
		select {
		case <-ctx.Done():
			e.Evaluate(e.cfg.Now())
			return nil
		case <-e.wake:
			if due == nil {
				due = time.After(e.cfg.Coalesce)
			}
		case <-due:
			due = nil
			e.Evaluate(e.cfg.Now())
		case <-tick.C:
			e.EvaluateAll(e.cfg.Now())
		}
	}
}

// Observe takes a poll in and has its site evaluated soon. Polls of units
// that the fleet does not have, and polls older than the last, are dropped.
func (e *Engine) Observe(p collector.Poll) {
	e.mu.RLock()
	defer e.mu.RUnlock()
	u, ok := e.units[p.Unit]
	if !ok {
		return
	}
	if site, events, ok := u.observe(p); ok {
		e.events.add(events...)
		e.markDirty(site)
	}
}

func (u *unitState) observe(p collector.Poll) (site string, events []Event, ok bool) {
	u.at.toChange()
	defer u.at.mu.Unlock()
	if p.Started.Before(u.view.Polled) {
		return "", nil, false
	}
	u.view.take(p, u.at.units)
	return u.at.site.ID, u.notice(p), true
}

func (e *Engine) markDirty(sites ...string) {
	e.dirtyMu.Lock()
	for _, s := range sites {
		e.dirty[s] = true
	}
	e.dirtyMu.Unlock()
	select {
	case e.wake <- struct{}{}:
	default:
	}
}

// SetFleet takes a fleet over. Units that stay keep what is known of them;
// alarms of what is gone are cleared.
func (e *Engine) SetFleet(f *collector.Fleet) {
	e.evalMu.Lock()
	defer e.evalMu.Unlock()
	now := e.cfg.Now()
	sites, ids := e.install(f)
	var p proof
	maps.DeleteFunc(e.evidence, func(k Key, _ *Evidence) bool {
		if _, ok := locate(f, k.Resource); ok || !inFleet(k.Resource) {
			return false
		}
		p.gone = append(p.gone, k)
		return true
	})
	e.cfg.List.applyWith(now, p, e.goneFrom(f)...)
	maps.DeleteFunc(e.holds, func(site string, _ map[Hold]int) bool { return !slices.Contains(ids, site) })
	e.events.add(Event{utc(now), "", "daemon", EventFleet, fleetText(f, sites)})
	e.markDirty(ids...)
	e.subs.signal()
}

func (e *Engine) install(f *collector.Fleet) (sites int, ids []string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	old := e.units
	e.fleet, e.sites, e.units = f, make([]*siteState, 0, len(f.Sites)), make(map[string]*unitState, len(f.Units))
	e.index = make(map[string]*siteState, len(f.Sites))
	for i, site := range f.Sites {
		s := &siteState{site: site, place: i}
		e.index[site.ID] = s
		for _, unit := range f.UnitsAt(site.ID) {
			u := &unitState{at: s, view: &UnitView{}}
			if was := old[unit.ID]; was != nil {
				u.view, u.seen = was.move(), was.seen
				s.inherit(was.at)
			}
			u.view.Unit = unit
			s.units = append(s.units, u.view)
			e.units[unit.ID] = u
		}
		e.sites, ids = append(e.sites, s), append(ids, site.ID)
	}
	return len(e.sites), ids
}

// move returns the view for another site state. The old one may still be
// read, so it is a copy.
func (u *unitState) move() *UnitView {
	u.at.mu.RLock()
	defer u.at.mu.RUnlock()
	v := u.view.Clone()
	return &v
}

func (s *siteState) inherit(old *siteState) {
	if old.site.ID == s.site.ID && s.toldFindings == nil {
		s.findings, s.toldFindings = old.findings, old.toldFindings
	}
	if old.site.ID == s.site.ID && s.power == nil {
		s.power, s.dip = old.power, old.dip
	}
}

// Evidence returns what a restarted engine needs beside the list to go on as
// if it had not stopped.
func (e *Engine) Evidence() map[Key]Evidence {
	e.evalMu.Lock()
	defer e.evalMu.Unlock()
	out := make(map[Key]Evidence, len(e.evidence))
	for k, ev := range e.evidence {
		out[k] = ev.clone()
	}
	return out
}

// EngineStats counts what the engine did since it was made.
type EngineStats struct {
	Rounds      uint64 `json:"rounds"`      // evaluations of a site
	RulePanics  uint64 `json:"rule_panics"` // verdicts lost because a rule panicked
	Uncommitted int    `json:"uncommitted"` // changes of alarms and of evidence that Commit has not taken yet
}

// Stats returns the counts.
func (e *Engine) Stats() EngineStats {
	return EngineStats{e.rounds.Load(), e.panics.Load(), e.store.waiting()}
}

// Load returns the load figures at now.
func (e *Engine) Load(now time.Time) LoadFigures { return e.load.figures(now, e.cfg.List) }

// Version rises whenever something that Subscribe tells of has changed.
func (e *Engine) Version() uint64 { return e.subs.version.Load() }

// Subscribe returns a channel that gets a token after something changed:
// readings, alarms, events, the fleet. Tokens that nobody took are merged
// into one. The function ends the subscription; it may be called twice.
func (e *Engine) Subscribe() (<-chan struct{}, func()) { return e.subs.add() }
