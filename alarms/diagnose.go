package alarms

import (
	"fmt"
	"math"
	"slices"
	"time"

	"go.uber.org/zap"

	"lightwell/collector"
)

// diagnose asks for the findings of the site while something there is not as
// it should be, before the rules judge: they may go by them. It is called with
// the site's lock held.
func (r *round) diagnose(s *siteState, v *View) {
	if r.engine.cfg.Diagnose == nil {
		return
	}
	if !r.unsettled(s) {
		s.findings = nil
		return
	}
	v.Findings, v.Works = s.findings, r.works
	s.findings = r.engine.askWhy(v)
	v.Findings = s.findings
	r.engine.tellFindings(r, s)
}

// unsettled tells whether anything at the site deviates, is silent, started
// anew, or has an alarm.
func (r *round) unsettled(s *siteState) bool {
	return len(r.engine.cfg.List.activeAt(r.site)) > 0 || slices.ContainsFunc(s.units, func(u *UnitView) bool { return u.deviates(r.now) })
}

// RecentStart is how long a unit counts as started anew.
const RecentStart = time.Hour

func (u *UnitView) deviates(now time.Time) bool {
	if u.Polled.IsZero() {
		return false
	}
	if !u.Up() || !u.StartedAt.IsZero() && now.Sub(u.StartedAt) < RecentStart {
		return true
	}
	for p, pv := range u.Points {
		if pv.Compared && math.Abs(pv.Deviation) > away(&pv) || pv.Daily != nil && pv.Daily.Amplitude > 0.2 && p.Quantity != collector.Temperature {
			return true
		}
		if info, _ := p.Quantity.Info(); info.Bad == collector.BadState && pv.Reading.Quality == collector.Good && pv.Reading.Value != 0 {
			return true
		}
	}
	return false
}

// askWhy returns what the diagnosis finds. One that panics finds nothing.
func (e *Engine) askWhy(v *View) (found []Finding) {
	defer func() {
		if p := recover(); p != nil {
			found = nil
			e.panics.Add(1)
			if e.failed["diagnosis"] {
				return
			}
			e.failed["diagnosis"] = true
			e.cfg.Log.Error("diagnosis panicked, nothing is said of causes", zap.Any("err", p), zap.Stack("stack"))
			e.events.add(Event{v.Now, v.Site.ID, "daemon", EventRuleFailed, fmt.Sprintf("diagnosis failed: %v", p)})
		}
	}()
	return e.cfg.Diagnose(v)
}

// findingQuiet is how long a finding that came and went is not told again.
const findingQuiet = time.Hour

// tellFindings writes new findings that are at least likely into the log.
func (e *Engine) tellFindings(r *round, s *siteState) {
	for k, at := range s.toldFindings {
		if r.now.Sub(at) >= findingQuiet {
			delete(s.toldFindings, k)
		}
	}
	for i := range s.findings {
		f := &s.findings[i]
		if f.Wording == Possible {
			continue
		}
		k := [2]string{f.Cause, f.Resource}
		_, told := s.toldFindings[k]
		if s.toldFindings == nil {
			s.toldFindings = map[[2]string]time.Time{}
		}
		s.toldFindings[k] = r.now
		if !told {
			e.events.add(Event{r.now, s.site.ID, f.Resource, EventFinding, f.Sentence()})
		}
	}
}

// attach gives each alarm the most probable finding that explains it. An alarm
// that cannot be judged now keeps what it has when nothing better is there.
func (r *round) attach(s []Finding) {
	for _, f := range r.findings {
		if !f.active() {
			continue
		}
		for i := range s {
			if s[i].explains(f.Key, f.typ) && (f.why == nil || s[i].Probability > f.why.Probability) {
				f.why = &s[i]
			}
		}
	}
}

// Findings returns what the diagnosis found at a site, the most probable
// first. Findings are shared: do not change them.
func (e *Engine) Findings(site string) []Finding {
	e.mu.RLock()
	s := e.index[site]
	e.mu.RUnlock()
	if s == nil {
		return nil
	}
	s.mu.RLock()
	defer s.mu.RUnlock()
	return slices.Clone(s.findings)
}
