package visit

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"lightwell/collector"
)

// Limits of a visit.
const (
	// DefaultLimit is when a visit ends by itself: the longest working day.
	DefaultLimit = 12 * time.Hour
	MinLimit     = 10 * time.Minute
	// MaxLimit bounds what may be asked for: alarms that are held back for
	// longer would be forgotten with the visit.
	MaxLimit = 72 * time.Hour
	// oldestBegin is how late a begin may be reported: from a site without a
	// network, in the evening.
	oldestBegin = 24 * time.Hour
	// skew is how far the clocks of people run ahead of this one.
	skew = 2 * time.Minute

	maxText  = 2000
	maxName  = 200
	maxParts = 200
)

// A Begin asks for a visit to be begun.
type Begin struct {
	Site      string        `json:"site" maxLength:"200"`
	By        string        `json:"by" maxLength:"200" doc:"Who is there."`
	Reason    string        `json:"reason" maxLength:"2000"`
	Resources []string      `json:"resources,omitempty" maxItems:"200" doc:"What is worked on: site/ID, unit/ID, link/ID, cable/ID; missing: the whole site."`
	At        time.Time     `json:"at,omitzero" doc:"When it began; missing: now. Not more than a day ago."`
	Limit     time.Duration `json:"-"`
}

// An End says how a visit went.
type End struct {
	Found     string    `json:"found" maxLength:"2000" doc:"What was wrong."`
	Done      string    `json:"done" maxLength:"2000" doc:"What was done about it."`
	Exchanged []string  `json:"exchanged,omitempty" maxItems:"200" doc:"Ids of units that were exchanged for others."`
	Meter     []Meter   `json:"meter,omitempty" maxItems:"200" doc:"What a power meter showed."`
	At        time.Time `json:"at,omitzero" doc:"When it ended; missing: now."`
}

// Actor is who records something, and from where.
type Actor struct{ Name, From string }

// faults gathers what is wrong with a request, all at once.
type faults []error

func (f *faults) refuse(bad bool, format string, args ...any) {
	if bad {
		*f = append(*f, fmt.Errorf(format, args...))
	}
}

func (f *faults) text(name, value string, most int) {
	f.refuse(strings.TrimSpace(value) == "", "%s is missing: write it down in a few words", name)
	f.refuse(len(value) > most, "%s has %d bytes, %d are the most", name, len(value), most)
}

func (f faults) err() error {
	if len(f) == 0 {
		return nil
	}
	return fmt.Errorf("%w: %w", ErrRequest, errors.Join(f...))
}

// visit checks the request and makes a visit of it.
func (r Begin) visit(f *collector.Fleet, now time.Time) (Visit, error) {
	var bad faults
	_, ok := f.Site(r.Site)
	bad.refuse(!ok, "the fleet has no site %q: name one of the fleet file", r.Site)
	bad.text("who is there", r.By, maxName)
	bad.text("the reason", r.Reason, maxText)
	bad.refuse(len(r.Resources) > maxParts, "%d resources are named, %d are the most: name the site", len(r.Resources), maxParts)
	for _, name := range r.Resources {
		at, known := siteOf(f, name)
		bad.refuse(!known, "the fleet has no %q: name site/ID, unit/ID, link/ID or cable/ID", name)
		bad.refuse(known && at != r.Site, "%s is at site %q, not at %q: record a visit for each site", name, at, r.Site)
	}
	if r.Limit == 0 {
		r.Limit = DefaultLimit
	}
	bad.refuse(r.Limit < MinLimit || r.Limit > MaxLimit, "the visit would end by itself after %s: choose between %s and %s", r.Limit, MinLimit, MaxLimit)
	begun := now
	if !r.At.IsZero() {
		begun = r.At.UTC()
		bad.refuse(begun.After(now.Add(skew)), "it begins at %s, here it is %s: a visit is recorded when it begins; work that lies ahead belongs into planned_work of the fleet file", stamp(begun), stamp(now))
		bad.refuse(now.Sub(begun) > oldestBegin, "it began at %s, more than a day ago: write it into the next visit", stamp(begun))
		if begun.After(now) {
			begun = now
		}
	}
	bad.refuse(!now.Before(begun.Add(r.Limit)), "it would have ended by itself at %s: give it a longer limit", stamp(begun.Add(r.Limit)))
	v := Visit{
		Site: r.Site, State: Open, By: strings.TrimSpace(r.By), Reason: strings.TrimSpace(r.Reason),
		Resources: slices.Compact(slices.Sorted(slices.Values(r.Resources))), Begun: begun, Until: begun.Add(r.Limit),
	}
	if len(v.Resources) == 0 {
		v.Resources = []string{"site/" + r.Site}
	}
	return v, bad.err()
}

// end checks the request and writes it into an open visit.
func (r End) end(v *Visit, f *collector.Fleet, now time.Time) error {
	var bad faults
	bad.text("what was found", r.Found, maxText)
	bad.text("what was done", r.Done, maxText)
	bad.refuse(len(r.Exchanged) > maxParts || len(r.Meter) > maxParts, "more than %d units or measurements", maxParts)
	atSite := func(what, unit string) {
		u, ok := f.Unit(unit)
		bad.refuse(!ok || u.Site != v.Site, "%s unit %q: site %q has no such unit", what, unit, v.Site)
	}
	for _, unit := range r.Exchanged {
		atSite("exchanged", unit)
	}
	for _, m := range r.Meter {
		atSite("measured at", m.Unit)
		bad.refuse(!(m.DBm >= -90 && m.DBm <= 40), "measured at unit %q: %v dBm is no optical power; -90 to 40 is", m.Unit, m.DBm)
		bad.refuse(m.Expected != nil && !(*m.Expected >= -90 && *m.Expected <= 40), "expected at unit %q: no optical power; -90 to 40 dBm is", m.Unit)
	}
	ended := now
	if !r.At.IsZero() {
		ended = r.At.UTC()
		bad.refuse(ended.After(now.Add(skew)), "it ends at %s, here it is %s: end it when you leave", stamp(ended), stamp(now))
		bad.refuse(ended.Before(v.Begun), "it ends at %s, before it began at %s", stamp(ended), stamp(v.Begun))
		ended = earlier(ended, now)
	}
	if err := bad.err(); err != nil {
		return err
	}
	if ended.Before(v.Begun) { // the clock was set back meanwhile
		ended = v.Begun
	}
	v.State, v.Ended = Settling, ended
	v.Found, v.Done = strings.TrimSpace(r.Found), strings.TrimSpace(r.Done)
	v.Exchanged, v.Meter = slices.Clone(r.Exchanged), slices.Clone(r.Meter)
	return nil
}

// siteOf returns where a resource is that a visit may name.
func siteOf(f *collector.Fleet, resource string) (site string, ok bool) {
	kind, id, _ := strings.Cut(resource, "/")
	switch kind {
	case "site":
		_, ok = f.Site(id)
		return id, ok
	case "unit":
		u, ok := f.Unit(id)
		return u.Site, ok
	case "cable":
		c, ok := f.Cable(id)
		return c.Site, ok
	case "link":
		l, ok := f.Link(id)
		u, _ := f.Unit(l.Indoor)
		return u.Site, ok
	}
	return "", false
}

func earlier(a, b time.Time) time.Time {
	if a.Before(b) {
		return a
	}
	return b
}

func stamp(t time.Time) string { return t.UTC().Format("2006-01-02 15:04:05 UTC") }
