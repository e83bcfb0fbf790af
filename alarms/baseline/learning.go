package baseline

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"lightwell/collector"
)

// askAgain is the time between two questions to the calendar about one unit.
const askAgain = time.Minute

// Sizes of one call of Keep, so that a fleet that learns all at once neither
// blocks the polls nor fills a transaction.
const (
	judgedAtOnce = 200 // units
	storedAtOnce = 200
)

// A hearer is a learner that wants to know a temperature.
type hearer struct {
	learner *learner
	by      thermometer
}

// resume has every unit learnt whose levels in force are not final, and no
// other. It goes on where a learner was before, in this life or in the last.
func (b *Book) resume() {
	s := b.shelf.Load()
	kept := map[string]*learner{}
	b.listeners = map[string][]hearer{}
	for unit, levels := range s.inForce {
		newest, _ := s.newest(unit)
		if len(levels) == 0 || final(levels) {
			continue
		}
		l := b.learners[unit]
		if l == nil || l.version != newest.Version {
			l = newLearner(newest, b.fleet, b.cfg)
			if p := b.parked[unit]; p != nil {
				p.Learner.restore(l)
			}
		} else {
			l.place(b.fleet)
		}
		kept[unit] = l
		for by := range l.gauges {
			b.listeners[by.unit] = append(b.listeners[by.unit], hearer{l, by})
		}
	}
	b.learners = kept
	for unit, p := range b.parked {
		u, ok := b.fleet.Unit(unit)
		if ok && p.Capture != nil && p.Capture.Model == u.Equipment.Model {
			b.captures[unit] = p.Capture.restore()
		}
		if ok {
			delete(b.parked, unit)
		}
	}
}

// study gives a poll to those who learn from it.
func (b *Book) study(p *collector.Poll) {
	for _, h := range b.listeners[p.Unit] {
		at := collector.Point{Quantity: collector.Temperature, Port: h.by.port}
		for i := range p.Readings {
			if r := &p.Readings[i]; p.Err == nil && r.Point == at && r.Quality == collector.Good && r.Age <= oldReading {
				h.learner.heat(h.by, p.Started, r.Value)
			}
		}
	}
	l := b.learners[p.Unit]
	if l == nil {
		return
	}
	if b.work != nil && p.Started.Sub(l.asked) >= askAgain {
		_, l.works = b.work.During(b.resources(p.Unit), p.Started)
		l.asked = p.Started
	}
	l.observe(p, l.works)
}

// resources returns those at which work disturbs a unit.
func (b *Book) resources(unit string) []string {
	u, _ := b.fleet.Unit(unit)
	out := []string{"unit/" + unit, "site/" + u.Site}
	for _, l := range b.fleet.LinksOf(unit) {
		out = append(out, "link/"+l.ID)
		for _, cable := range []string{l.Downlink.Cable, l.Uplink.Cable} {
			if cable != "" {
				out = append(out, "cable/"+cable)
			}
		}
	}
	return out
}

// learning tells how far the levels of a unit are.
func (b *Book) learning(unit string) *Learning {
	levels, ok := b.Levels(unit)
	if !ok {
		return nil
	}
	out := &Learning{Phase: Final}
	u, _ := b.fleet.Unit(unit)
	for _, p := range u.Equipment.Points {
		level, ok := levels[p]
		if !ok {
			continue
		}
		out.Phase = behind(out.Phase, level.Phase)
		point := PointLearning{Point: p, Phase: level.Phase, Level: level, Hours: level.Hours}
		if l := b.learners[unit]; l != nil && level.Phase != Final {
			if i := slices.IndexFunc(l.found, func(f PointLearning) bool { return f.Point == p }); i >= 0 {
				point.Hours, point.Reasons = l.found[i].Hours, l.found[i].Reasons
			}
		}
		out.Points = append(out.Points, point)
	}
	return out
}

// Keep judges the units that have learnt for another hour, stores what has
// come of it, and with it the work under way, so that a restart goes on with
// it. Call it once a minute, and at the end with all set: then nothing is left
// for the next time. It returns the refinements it made.
func (b *Book) Keep(now time.Time, all bool) ([]Refinement, error) {
	b.writing.Lock()
	defer b.writing.Unlock()
	if err := b.makeSure(); err != nil {
		return nil, err
	}
	made := b.judgeDue(now, all)
	if len(made) > 0 {
		b.mu.Lock()
		next := b.shelf.Load().with(made, b.fleet)
		b.mu.Unlock()
		units := map[string][]Refinement{}
		for _, r := range made {
			units[r.Unit] = next.refinements[r.Unit]
		}
		if err := b.store.SaveRefinements(units); err != nil {
			b.unsure = true
			return nil, fmt.Errorf("%w (%w)", ErrNotStored, err)
		}
		b.refined = append(b.refined, made...)
		b.mu.Lock()
		b.shelf.Store(next)
		b.resume()
		b.mu.Unlock()
	}
	for {
		learners, err := b.saveProgress()
		if err != nil || !all || learners < storedAtOnce {
			return made, err
		}
	}
}

// judgeDue judges learners that have a new hour. The lock is given back
// between units: a judgement takes some milliseconds.
func (b *Book) judgeDue(now time.Time, all bool) (made []Refinement) {
	b.mu.Lock()
	var due []*learner
	for _, l := range b.learners {
		if l.now > l.judged && (all || len(due) < judgedAtOnce) {
			due = append(due, l)
		}
	}
	b.mu.Unlock()
	slices.SortFunc(due, func(x, y *learner) int { return cmp.Compare(x.unit, y.unit) })
	for _, l := range due {
		b.mu.Lock()
		if r, ok := b.judgeUnit(l, now); ok {
			made = append(made, r)
		}
		b.mu.Unlock()
	}
	return made
}

// judgeUnit returns what is to change of a unit's levels.
func (b *Book) judgeUnit(l *learner, now time.Time) (Refinement, bool) {
	u, ok := b.fleet.Unit(l.unit)
	if b.learners[l.unit] != l || !ok {
		return Refinement{}, false
	}
	levels, _ := b.Levels(l.unit)
	l.judged = l.now
	l.found = nil
	out := Refinement{Unit: l.unit, Version: l.version, At: now, Levels: map[collector.Point]Level{}}
	for _, lesson := range l.judge(u, b.fleet, levels, b.cfg, now) {
		l.found = append(l.found, lesson.PointLearning)
		if lesson.level != levels[lesson.Point] {
			out.Levels[lesson.Point] = lesson.level
		}
	}
	return out, len(out.Levels) > 0
}

// saveProgress stores captures, and learners that have moved on; it returns
// how many of those, which is storedAtOnce when more may be left.
func (b *Book) saveProgress() (learners int, err error) {
	b.mu.Lock()
	out := map[string][]byte{}
	for unit, l := range b.learners {
		if l.fresh && learners < storedAtOnce {
			out[unit] = nil
			learners++
		}
	}
	for unit := range b.captures {
		out[unit] = nil
	}
	for unit := range out {
		out[unit] = encodeProgress(b.captures[unit], b.learners[unit], b.model(unit))
	}
	for unit := range b.stored {
		if b.captures[unit] == nil && b.learners[unit] == nil && b.parked[unit] == nil {
			out[unit] = nil
		}
	}
	b.mu.Unlock()
	if len(out) == 0 {
		return 0, nil
	}
	if err := b.store.SaveProgress(out); err != nil {
		return 0, fmt.Errorf("store baselines under way: %w", err)
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	for unit, data := range out {
		b.stored[unit] = data != nil
		if data == nil {
			delete(b.stored, unit)
		} else if l := b.learners[unit]; l != nil {
			l.fresh = false
		}
	}
	return learners, nil
}

func (b *Book) model(unit string) string {
	u, _ := b.fleet.Unit(unit)
	return u.Equipment.Model
}
