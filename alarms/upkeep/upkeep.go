// Package upkeep judges the daemon itself: whether its messages arrive, its
// state is written, its clock runs evenly and its disk has room. What is wrong
// is an alarm at the resource "daemon" like any other.
//
// It is pure: the caller gathers Facts at intervals and brings the updates
// into the alarm list. It guarantees that nothing is raised or cleared before
// it has held for the time that its type names, and that texts change with
// the severity only.
package upkeep

import (
	"slices"
	"time"

	"lightwell/alarms"
)

// Resource is where these alarms are.
const Resource = "daemon"

// Alarm types.
const (
	WebhookUndelivered = "webhook-undelivered"
	StateNotWritten    = "state-not-written"
	ClockWrong         = "clock-wrong"
	DiskAlmostFull     = "disk-almost-full"
)

// Facts is what the caller has found out.
type Facts struct {
	Endpoints []Endpoint
	Unwritten error         // why the state is not written; nil: it is
	ClockOff  time.Duration // as Clock.Observe gave it
	Disk      Disk
	Standing  []alarms.Key // alarms of these types that are active now
}

// An Endpoint is how a receiver of webhooks stands.
type Endpoint struct {
	Name    string
	Pending int
	Oldest  time.Time // pending message; zero: none
	Dead    int       // given up, and neither sent again nor forgotten
	Stopped bool      // it wanted no more (410)
	Error   string    // of the last failure
}

// Disk is the one with the data folder.
type Disk struct {
	Used float64 // share; zero: not known
	Warn float64 // share that is worth an alarm
	Stop float64 // share from which no readings are kept; 1: never
}

// Types returns the types of alarm of this package.
func Types() []alarms.Type {
	out := make([]alarms.Type, len(judges))
	for i, j := range judges {
		out[i] = j.Type
	}
	return out
}

// A verdict says how one alarm should stand.
type verdict struct {
	qualifier string
	active    bool
	severity  alarms.Severity
	text      string
	actions   []string
}

// judge is a type and how it is judged. up tells whether an alarm stands.
type judge struct {
	alarms.Type
	judge func(f *Facts, now time.Time, up func(qualifier string) bool) []verdict
}

// A Watch remembers for how long what it saw has held. The zero Watch is
// ready to use.
type Watch struct {
	turned map[alarms.Key]time.Time       // since when the facts disagree with the list
	told   map[alarms.Key]alarms.Severity // with the last text
}

// Judge returns the updates for the alarm list.
func (w *Watch) Judge(f Facts, now time.Time) []alarms.Update {
	if w.turned == nil {
		w.turned, w.told = map[alarms.Key]time.Time{}, map[alarms.Key]alarms.Severity{}
	}
	var out []alarms.Update
	judged := map[alarms.Key]bool{}
	for _, j := range judges {
		key := func(qualifier string) alarms.Key {
			return alarms.Key{Resource: Resource, Type: j.ID, Qualifier: qualifier}
		}
		up := func(qualifier string) bool { return slices.Contains(f.Standing, key(qualifier)) }
		for _, v := range j.judge(&f, now, up) {
			k := key(v.qualifier)
			judged[k] = true
			if w.holds(k, v.active, up(v.qualifier), &j.Type, now) {
				out = append(out, w.update(k, v, &j.Type))
			}
		}
	}
	for _, k := range f.Standing { // of an endpoint that is gone
		if !judged[k] {
			out = append(out, alarms.Update{Key: k})
		}
	}
	return out
}

// holds tells whether the list should hear of a verdict now.
func (w *Watch) holds(k alarms.Key, active, standing bool, t *alarms.Type, now time.Time) bool {
	if active == standing {
		delete(w.turned, k)
		return active
	}
	since, known := w.turned[k]
	if !known || since.After(now) { // the clock was set back
		w.turned[k], since = now, now
	}
	wait := t.Clear.For
	if active {
		wait = t.Raise.For
	}
	return now.Sub(since) >= wait
}

func (w *Watch) update(k alarms.Key, v verdict, t *alarms.Type) alarms.Update {
	u := alarms.Update{Key: k, Active: v.active}
	if !v.active {
		delete(w.told, k)
		return u
	}
	u.Severity, u.Cause, u.EventType, u.Details.Actions = v.severity, t.Cause, t.EventType, v.actions
	if w.told[k] != v.severity {
		w.told[k], u.Text = v.severity, v.text
	}
	return u
}
