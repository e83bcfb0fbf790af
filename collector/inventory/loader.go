package inventory

import (
	"cmp"
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
	"time"
	_ "time/tzdata" // zones must be known on machines and images without zone files

	"lightwell/collector"
	"lightwell/collector/document"
)

// place is where something stands: a file and the path in it.
type place struct {
	doc  *document.File
	at   string
	name string // for people: unit "roof-3"
}

// entry is one described thing.
type entry[T any] struct {
	place
	T    T
	poll string // of the file
}

// loader collects what all files describe, then checks it as a whole. It goes
// on after a fault so that all are found; what cannot be judged because of an
// earlier fault is passed over in silence.
type loader struct {
	o       Options
	faults  document.Faults
	known   map[string]map[string]bool // kind, then ids
	hints   int                        // nearest words still to be looked for
	garbled map[spot]bool              // values that could not be read

	sites      []entry[siteLayout]
	cables     []entry[cableLayout]
	units      []entry[unitLayout]
	links      []entry[linkLayout]
	severities []entry[severityLayout]
	work       []entry[workLayout]

	out  collector.Fleet
	site map[string]collector.Site
	unit map[string]*entry[unitLayout]
}

// maxHints bounds the search for nearest words in a file full of faults.
const maxHints = 100

func newLoader(o Options) *loader {
	if o.DefaultPoll == "" {
		o.DefaultPoll = DefaultPoll
	}
	if o.MinPoll == 0 {
		o.MinPoll = DefaultMinPoll
	}
	return &loader{o: o, hints: maxHints, garbled: map[spot]bool{}, known: map[string]map[string]bool{}, site: map[string]collector.Site{}, unit: map[string]*entry[unitLayout]{}}
}

// page is one file as it was read.
type page struct {
	doc     *document.File // nil: not understood
	layout  fileLayout
	faults  document.Faults // of the document
	garbled document.Faults // of its values
}

func readPage(doc *document.File, faults document.Faults) page {
	p := page{doc: doc, faults: faults}
	if doc != nil {
		p.garbled = doc.Decode(&p.layout)
	}
	return p
}

// add takes in one file.
func (l *loader) add(p page) {
	l.faults = append(l.faults, p.faults...)
	for _, fault := range p.garbled {
		l.garbled[spot{fault.File, fault.Line, fault.Column}] = true
		l.faults = append(l.faults, fault)
	}
	if p.doc == nil {
		return
	}
	doc, f := p.doc, p.layout
	l.checkPoll(place{doc, "$", "fleet"}, f.Poll, time.UTC)
	collect(l, &l.sites, doc, f.Poll, "sites", "site", f.Sites, func(s siteLayout) string { return s.ID })
	collect(l, &l.cables, doc, f.Poll, "cables", "cable", f.Cables, func(c cableLayout) string { return c.ID })
	collect(l, &l.units, doc, f.Poll, "units", "unit", f.Units, func(u unitLayout) string { return u.ID })
	collect(l, &l.links, doc, f.Poll, "links", "link", f.Links, func(k linkLayout) string { return k.ID })
	collect(l, &l.severities, doc, f.Poll, "severities", "severity", f.Severities, nil)
	collect(l, &l.work, doc, f.Poll, "planned_work", "planned work", f.PlannedWork, func(w workLayout) string { return w.ID })
}

var idForm = regexp.MustCompile(`^[a-z0-9][a-z0-9_.-]{0,63}$`)

// collect appends the entries of one list; id is nil for things without one.
func collect[T any](l *loader, into *[]entry[T], doc *document.File, poll, list, kind string, all []T, id func(T) string) {
	if l.known[kind] == nil {
		l.known[kind] = map[string]bool{}
	}
	for i, t := range all {
		e := entry[T]{place{doc, fmt.Sprintf("$.%s[%d]", list, i), kind}, t, poll}
		if id != nil {
			e.name = fmt.Sprintf("%s %q", kind, id(t))
			l.checkID(e.place, kind, id(t))
		}
		*into = append(*into, e)
	}
}

func (l *loader) checkID(p place, kind, id string) {
	switch {
	case id == "": // the key is missing: known already
		return
	case !idForm.MatchString(id):
		l.fault(p, "id", "use at most 64 small letters, digits, dash, underscore and dot", "that is not an id")
	case l.known[kind][id]:
		l.fault(p, "id", "give each its own id", "this id is used already")
	}
	l.known[kind][id] = true
}

// fault reports what is wrong with the key of the thing at p; with key "" the
// thing itself.
func (l *loader) fault(p place, key, remedy, what string, args ...any) {
	path := p.at
	if key != "" {
		path += "." + key
	}
	f := p.doc.Fault(path, remedy, "%s: %s", p.name, fmt.Sprintf(what, args...))
	if l.garbled[spot{f.File, f.Line, f.Column}] && p.doc.Has(path) {
		return // it could not be read, so its value means nothing
	}
	l.faults = append(l.faults, f)
}

// spot is where a fault is.
type spot struct {
	file         string
	line, column int
}

// refer checks that the key names a thing of that kind. It is false, without
// a fault, for an empty id.
func (l *loader) refer(p place, key, kind, id string) bool {
	if id == "" {
		return false
	}
	if l.known[kind][id] {
		return true
	}
	remedy := "add it, or correct the name"
	if l.hints > 0 {
		l.hints--
		if names := slices.Sorted(maps.Keys(l.known[kind])); len(names) > 0 {
			remedy = document.Nearest(id, names)
		}
	}
	l.fault(p, key, remedy, "there is no %s %q", kind, id)
	return false
}

// fleet checks everything and returns the fleet, or all faults.
func (l *loader) fleet() (*collector.Fleet, error) {
	l.checkSites()
	l.checkCables()
	l.checkUnits()
	l.checkLinks()
	l.checkSeverities()
	l.checkWork()
	if err := l.faults.Err(); err != nil {
		return nil, err
	}
	return collector.NewFleet(l.out), nil
}

// zone returns the named time zone; UTC for "" and, with a fault, for an
// unknown name.
func (l *loader) zone(p place, name string) *time.Location {
	if name == "" {
		return time.UTC
	}
	loc, err := time.LoadLocation(name)
	if err != nil || name == "Local" {
		l.fault(p, "time_zone", "write a name of the time zone database, like Europe/Lisbon or UTC", "unknown time zone %q", name)
		return time.UTC
	}
	return loc
}

// checkPoll checks a schedule; the empty one is fine.
func (l *loader) checkPoll(p place, spec string, loc *time.Location) {
	if spec == "" {
		return
	}
	if _, err := time.ParseDuration(spec); err == nil {
		l.fault(p, "poll", fmt.Sprintf("write %q", "@every "+spec), "poll %q is not a schedule", spec)
		return
	}
	s, err := collector.ParseSchedule(spec, loc)
	if err != nil {
		what, remedy, _ := strings.Cut(err.Error(), "; ")
		l.fault(p, "poll", cmp.Or(remedy, `write "@every 60s" or a cron expression of five fields`), "poll: %s", what)
		return
	}
	if shortest := shortestPeriod(s); shortest < l.o.MinPoll {
		l.fault(p, "poll", fmt.Sprintf("use %s or more", l.o.MinPoll), "poll %q is shorter than %s", spec, l.o.MinPoll)
	}
}

// shortestPeriod looks at the next hundred beginnings from a fixed day.
func shortestPeriod(s collector.Schedule) time.Duration {
	at := s.Next(time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC))
	shortest := time.Duration(1<<63 - 1)
	for range 100 {
		next := s.Next(at)
		if next.IsZero() {
			break
		}
		shortest = min(shortest, next.Sub(at))
		at = next
	}
	return shortest
}
