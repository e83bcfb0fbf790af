package alarms

import (
	"cmp"
	"slices"
	"time"
)

// symptomGrace is how long an alarm stays held after its cause has gone, when
// no new evidence tells whether it still stands. A cause and its consequences
// are polled at different times; without it each repair would bring a burst
// of announcements.
const symptomGrace = 10 * time.Minute

// explain finds the cause of each consequence, and relates the two while both
// are active.
func (r *round) explain() {
	for _, f := range r.findings {
		if f.explains() {
			for _, k := range f.verdict.Explains {
				r.link(f, k)
			}
		}
	}
	for _, f := range r.findings {
		if !f.explains() && f.active() {
			for _, k := range f.cur.Related { // the cause is about to clear, or cannot be judged now
				if s := r.byKey[k]; s != nil && s.cur != nil && s.cur.Hold == (Hold{HoldSymptom, f.Resource}) {
					r.link(f, k)
				}
			}
		}
	}
	for k, cause := range r.causes {
		symptom := r.byKey[k]
		if symptom.active() && cause.active() {
			symptom.related = append(symptom.related, cause.Key)
			cause.related = append(cause.related, k)
		}
	}
	for _, f := range r.findings {
		slices.SortFunc(f.related, compareKeys)
	}
}

// link makes f the cause of k, unless k has a cause already or is one of f.
func (r *round) link(f *finding, k Key) {
	if r.byKey[k] == nil || r.causes[k] != nil {
		return
	}
	for c := f; c != nil; c = r.causes[c.Key] {
		if c.Key == k {
			return
		}
	}
	r.causes[k] = f
}

// setHold decides whether an alarm is kept silent. Planned work comes before
// a cause: it is what the operator needs to know.
func (r *round) setHold(f *finding) {
	if !f.active() {
		return
	}
	cause := r.causes[f.Key]
	if cause != nil {
		f.evidence.Explained = r.now
	}
	switch by := r.plannedWork(f); {
	case by != "":
		f.hold = Hold{HoldPlannedWork, by}
	case cause != nil:
		f.hold = Hold{HoldSymptom, cause.Resource}
	case f.waits(r.now):
		f.hold = f.cur.Hold
	default:
		f.evidence.Explained = time.Time{}
	}
}

// waits tells whether an alarm whose hold has ended stays silent until there
// is evidence that it still stands: it is about to clear, or its cause went
// and it has not been polled since.
func (f *finding) waits(now time.Time) bool {
	if f.cur == nil || f.cur.Hold == (Hold{}) {
		return false
	}
	if f.verdict != nil && !f.verdict.Active {
		return true
	}
	last := f.evidence.Explained
	if f.cur.Hold.Reason != HoldSymptom || last.IsZero() || now.Sub(last) >= symptomGrace {
		return false
	}
	return f.verdict == nil || !f.verdict.Seen.After(last)
}

// plannedWork returns the id of the planned work that holds the alarm back.
func (r *round) plannedWork(f *finding) string {
	calendar := r.engine.cfg.Calendar
	if calendar == nil {
		return ""
	}
	var impacted []string
	if f.verdict != nil {
		impacted = f.verdict.Details.Impacted
	} else if f.cur != nil {
		impacted = f.cur.Details.Impacted
	}
	work, ok := calendar.During(lineage(r.fleet, f.Resource, impacted), r.now)
	if !ok {
		return ""
	}
	return work.ID
}

func compareKeys(a, b Key) int {
	return cmp.Or(cmp.Compare(a.Resource, b.Resource), cmp.Compare(a.Type, b.Type), cmp.Compare(a.Qualifier, b.Qualifier))
}

func compareHolds(a, b Hold) int {
	return cmp.Or(cmp.Compare(a.Reason, b.Reason), cmp.Compare(a.By, b.By))
}
