package alarms

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"time"

	"go.uber.org/zap"

	"lightwell/collector"
)

// Evaluate judges the sites that were polled since they were judged last.
func (e *Engine) Evaluate(now time.Time) {
	e.dirtyMu.Lock()
	dirty := e.dirty
	e.dirty = map[string]bool{}
	e.dirtyMu.Unlock()
	e.evaluate(now, dirty)
}

// EvaluateAll judges all sites, ends shelves whose time has come and offers
// again what could not be stored. Run does so at every tick.
func (e *Engine) EvaluateAll(now time.Time) {
	e.cfg.List.Expire(now)
	e.store.retry(now)
	e.evaluate(now, nil)
}

// evaluate judges the wanted sites in the order of the fleet; nil: all.
func (e *Engine) evaluate(now time.Time, wanted map[string]bool) {
	e.evalMu.Lock()
	defer e.evalMu.Unlock()
	fleet, sites := e.wanted(wanted)
	for _, s := range sites {
		e.evaluateSite(fleet, s, now)
	}
	if len(sites) > 0 {
		e.subs.signal()
	}
}

func (e *Engine) wanted(ids map[string]bool) (*collector.Fleet, []*siteState) {
	e.mu.RLock()
	defer e.mu.RUnlock()
	if ids == nil {
		return e.fleet, e.sites
	}
	sites := make([]*siteState, 0, len(ids))
	for id := range ids {
		if s := e.index[id]; s != nil {
			sites = append(sites, s)
		}
	}
	slices.SortFunc(sites, func(a, b *siteState) int { return cmp.Compare(a.place, b.place) })
	return e.fleet, sites
}

// finding is what one evaluation makes of one alarm.
type finding struct {
	Key
	typ      *Type
	verdict  *Verdict // nil: no rule could judge it
	cur      *Alarm   // in the list; nil: none
	evidence *Evidence
	before   Evidence // evidence as it was
	known    bool     // there was some before
	step     Step     // that is due
	severity Severity
	related  []Key
	hold     Hold
	why      *Finding // what explains it; nil: nothing
}

// active tells whether the alarm will be active after this evaluation.
func (f *finding) active() bool {
	return f.step == StepRaise || f.cur != nil && !f.cur.Cleared && f.step != StepClear
}

// explains tells whether the verdict of a cause counts for its consequences:
// the alarm is active, or evidence for it is being gathered.
func (f *finding) explains() bool { return f.verdict != nil && f.verdict.Active }

// round is one evaluation of one site.
type round struct {
	engine   *Engine
	fleet    *collector.Fleet
	site     string
	now      time.Time
	findings []*finding
	works    []Work
	byKey    map[Key]*finding
	causes   map[Key]*finding // cause of a consequence
}

func (e *Engine) evaluateSite(fleet *collector.Fleet, s *siteState, now time.Time) {
	r := &round{engine: e, fleet: fleet, site: s.site.ID, now: utc(now), byKey: map[Key]*finding{}, causes: map[Key]*finding{}}
	if e.cfg.Works != nil { // asked without the site's lock: who knows of visits may ask the engine
		r.works = e.cfg.Works(s.site.ID, r.now)
	}
	r.judge(s)
	r.addUnjudged()
	for _, f := range r.findings {
		r.weigh(f)
	}
	r.explain()
	r.attach(s.findings)
	for _, f := range r.findings {
		r.setHold(f)
	}
	updates := r.updates()
	r.remember()
	e.cfg.List.applyWith(now, r.proof(), updates...)
	e.tellHolds(r)
	e.rounds.Add(1)
}

// judge asks every rule and keeps one verdict for each key: the first, or the
// first that is active.
func (r *round) judge(s *siteState) {
	s.toChange()
	defer s.mu.Unlock()
	for _, u := range s.units {
		u.compare(r.engine.cfg.Baselines, s.units)
		u.takeTrends(r.engine.cfg.Trends)
	}
	v := &View{Now: r.now, Site: s.site, Fleet: r.fleet, Units: s.units, Active: r.engine.cfg.List.Active, Severity: r.given, Since: r.engine.cfg.List.raisedAt}
	r.diagnose(s, v)
	for _, rule := range r.engine.rules {
		verdicts := r.engine.ask(rule, v)
		for i := range verdicts {
			r.addVerdict(rule.typ, &verdicts[i])
		}
	}
}

// ask returns the verdicts of one rule. A rule that panics has none: its
// alarms stay as they are.
func (e *Engine) ask(rule typedRule, v *View) (verdicts []Verdict) {
	defer func() {
		if p := recover(); p != nil {
			verdicts = nil
			e.panics.Add(1)
			id := rule.typ.ID
			if e.failed[id] {
				return
			}
			e.failed[id] = true
			e.cfg.Log.Error("rule panicked, its alarms stay as they are", zap.String("rule", id), zap.Any("err", p), zap.Stack("stack"))
			e.events.add(Event{v.Now, v.Site.ID, "daemon", EventRuleFailed, fmt.Sprintf("rule %s failed: %v; its alarms stay as they are", id, p)})
		}
	}()
	return rule.Judge(v)
}

func (r *round) addVerdict(t *Type, v *Verdict) {
	k := Key{v.Resource, t.ID, v.Qualifier}
	if f := r.byKey[k]; f != nil {
		if v.Active && !f.verdict.Active {
			f.verdict = v
		}
		return
	}
	cur := r.engine.cfg.List.peek(k)
	if quiet := !v.Active && (cur == nil || cur.Cleared) && r.engine.evidence[k] == nil; quiet {
		return // by far the most verdicts
	}
	r.add(&finding{Key: k, typ: t, verdict: v, cur: cur})
}

func (r *round) add(f *finding) {
	if f.evidence = r.engine.evidence[f.Key]; f.evidence == nil {
		f.evidence = &Evidence{}
	} else {
		f.before, f.known = *f.evidence, true
	}
	r.findings = append(r.findings, f)
	r.byKey[f.Key] = f
}

// addUnjudged adds the active alarms of the site that no rule could judge:
// they stay, but holds can begin and end.
func (r *round) addUnjudged() {
	for _, a := range r.engine.cfg.List.activeAt(r.site) {
		if t := r.engine.types[a.Type]; t != nil && r.byKey[a.Key] == nil {
			r.add(&finding{Key: a.Key, typ: t, cur: a})
		}
	}
}

// given is View.Severity: from memory, or after a restart without memory what
// the severity in the list must have been before assignment.
func (r *round) given(k Key) Severity {
	a, t := r.engine.cfg.List.peek(k), r.engine.types[k.Type]
	if a == nil || a.Cleared || t == nil {
		return 0
	}
	if ev := r.engine.evidence[k]; ev != nil && ev.Given != 0 {
		return ev.Given
	}
	return givenFor(r.fleet, t, k.Resource, r.site, a.Severity)
}

func (r *round) weigh(f *finding) {
	if f.verdict == nil {
		f.severity = f.cur.Severity
		return
	}
	want := severityFor(r.fleet, f.typ, f.Resource, r.site, f.verdict.Severity)
	f.step = f.evidence.weigh(r.now, f.typ, f.cur, f.verdict, want)
	if f.severity = want; f.cur != nil && (f.step == StepNone || f.step == StepReword) {
		f.severity = f.cur.Severity
	}
}

// updates says what the list is to take over.
func (r *round) updates() []Update {
	var out []Update
	for _, f := range r.findings {
		if f.active() || f.step == StepClear {
			out = append(out, f.update(r.site))
		}
	}
	return out
}

func (f *finding) update(site string) Update {
	u := Update{
		Key: f.Key, Site: site, Active: f.step != StepClear, Severity: f.severity, Cause: f.typ.Cause, EventType: f.typ.EventType,
		Related: f.related, Hold: f.hold,
	}
	switch {
	case f.verdict != nil && f.verdict.Active:
		u.Details = f.verdict.Details
	case f.cur != nil:
		u.Details = f.cur.Details
	}
	if f.why != nil {
		u.Details.Finding = f.why
	}
	if f.step != StepNone {
		u.Text, u.Time = f.verdict.Text, f.evidence.Since
	}
	return u
}

// remember brings the evidence up to date with what the list takes over.
func (r *round) remember() {
	for _, f := range r.findings {
		ev := f.evidence
		switch f.step {
		case StepRaise:
			before := stretch(ev.Raises)
			ev.raised(r.now)
			if hold := stretch(ev.Raises); hold > before {
				r.engine.events.add(Event{r.now, r.site, f.Resource, EventChattering,
					fmt.Sprintf("%s chatters: raised %d times or more in short order; it clears only after %s of quiet", f.Type, len(ev.Raises), hold)})
			}
			ev.rest()
		case StepClear:
			ev.rest()
			ev.Given, ev.Explained = 0, time.Time{}
		case StepNone:
		default:
			ev.rest()
		}
		r.rememberSeverity(f)
		if ev.idle(r.now) {
			delete(r.engine.evidence, f.Key)
		} else {
			r.engine.evidence[f.Key] = ev
		}
	}
}

// rememberSeverity keeps the severity that the rule gave to the state that
// is now in force.
func (r *round) rememberSeverity(f *finding) {
	moved := f.step == StepRaise || f.step == StepWorse || f.step == StepBetter
	if !f.active() || f.verdict == nil || !f.verdict.Active || !moved && f.evidence.Given != 0 {
		return
	}
	if f.evidence.Given = f.verdict.Severity; f.evidence.Given == 0 {
		f.evidence.Given = f.typ.Severity
	}
}

// goneFrom clears the alarms whose resource the fleet does not have any more.
func (e *Engine) goneFrom(f *collector.Fleet) []Update {
	var out []Update
	e.cfg.List.Each(Filter{Clearance: ClearanceNotCleared, Shelving: ShelvingAny}, func(a *Alarm) bool {
		if _, ok := locate(f, a.Resource); !ok && inFleet(a.Resource) {
			out = append(out, Update{Key: a.Key, Text: fmt.Sprintf("%s is no longer in the fleet; it is not watched any more.", a.Resource)})
		}
		return true
	})
	return out
}

func fleetText(f *collector.Fleet, sites int) string {
	return fmt.Sprintf("fleet taken over: %d sites, %d units, %d links", sites, len(f.Units), len(f.Links))
}

// tellHolds writes into the log which holds began and ended at a site.
func (e *Engine) tellHolds(r *round) {
	now := map[Hold]int{}
	for _, f := range r.findings {
		if f.active() && f.hold != (Hold{}) {
			now[f.hold]++
		}
	}
	before := e.holds[r.site]
	for _, h := range slices.SortedFunc(maps.Keys(now), compareHolds) {
		if before[h] == 0 {
			e.events.add(Event{r.now, r.site, "site/" + r.site, EventHoldBegan, fmt.Sprintf("%s (%s): %d alarms held back", h.Reason, h.By, now[h])})
		}
	}
	for _, h := range slices.SortedFunc(maps.Keys(before), compareHolds) {
		if now[h] == 0 {
			e.events.add(Event{r.now, r.site, "site/" + r.site, EventHoldEnded, fmt.Sprintf("%s (%s): no alarms held back any more", h.Reason, h.By)})
		}
	}
	if len(now) == 0 {
		delete(e.holds, r.site)
	} else {
		e.holds[r.site] = now
	}
}
