package inventory

import (
	"fmt"
	"reflect"
	"strings"

	"lightwell/collector"
)

// Changes are the ids of one kind that differ between two fleets, in the
// order of the files.
type Changes struct{ Added, Removed, Changed []string }

// Empty tells whether there are none.
func (c Changes) Empty() bool { return len(c.Added)+len(c.Removed)+len(c.Changed) == 0 }

// Difference tells what changed from one fleet to another. A severity is
// named by its type and, where it has one, its resource.
type Difference struct{ Sites, Cables, Units, Links, Severities, PlannedWork Changes }

// Compare returns the difference between two fleets. Neither may be nil. A
// unit counts as changed when anything about it is other, its model's limits
// and its schedule included.
func Compare(old, new *collector.Fleet) Difference {
	return Difference{
		Sites:       changes(old.Sites, new.Sites, func(s collector.Site) string { return s.ID }),
		Cables:      changes(old.Cables, new.Cables, func(c collector.Cable) string { return c.ID }),
		Units:       changes(old.Units, new.Units, func(u collector.Unit) string { return u.ID }),
		Links:       changes(old.Links, new.Links, func(l collector.Link) string { return l.ID }),
		Severities:  changes(old.Severities, new.Severities, severityName),
		PlannedWork: changes(old.PlannedWork, new.PlannedWork, func(w collector.PlannedWork) string { return w.ID }),
	}
}

func severityName(r collector.SeverityRule) string {
	switch {
	case r.Unit != "":
		return r.Type + "@unit/" + r.Unit
	case r.Site != "":
		return r.Type + "@site/" + r.Site
	default:
		return r.Type
	}
}

func changes[T any](old, new []T, id func(T) string) Changes {
	var c Changes
	before := make(map[string]*T, len(old))
	for i := range old {
		before[id(old[i])] = &old[i]
	}
	after := make(map[string]bool, len(new))
	for i := range new {
		name := id(new[i])
		after[name] = true
		switch was, known := before[name]; {
		case !known:
			c.Added = append(c.Added, name)
		case !reflect.DeepEqual(*was, new[i]):
			c.Changed = append(c.Changed, name)
		}
	}
	for i := range old {
		if name := id(old[i]); !after[name] {
			c.Removed = append(c.Removed, name)
		}
	}
	return c
}

// Empty tells whether nothing changed.
func (d Difference) Empty() bool {
	return d.Sites.Empty() && d.Cables.Empty() && d.Units.Empty() && d.Links.Empty() && d.Severities.Empty() && d.PlannedWork.Empty()
}

// String returns the difference for the log, like "units: 2 added (a, b),
// 1 changed (c); links: 1 removed (x)", or "nothing changed".
func (d Difference) String() string {
	var parts []string
	for _, k := range []struct {
		name string
		Changes
	}{{"sites", d.Sites}, {"cables", d.Cables}, {"units", d.Units}, {"links", d.Links}, {"severities", d.Severities}, {"planned work", d.PlannedWork}} {
		if !k.Empty() {
			parts = append(parts, k.name+": "+k.String())
		}
	}
	if len(parts) == 0 {
		return "nothing changed"
	}
	return strings.Join(parts, "; ")
}

// String returns the counts and the first few ids.
func (c Changes) String() string {
	var parts []string
	for _, k := range []struct {
		word string
		ids  []string
	}{{"added", c.Added}, {"removed", c.Removed}, {"changed", c.Changed}} {
		if n := len(k.ids); n > 0 {
			const shown = 5
			list := strings.Join(k.ids[:min(n, shown)], ", ")
			if n > shown {
				list += ", ..."
			}
			parts = append(parts, fmt.Sprintf("%d %s (%s)", n, k.word, list))
		}
	}
	return strings.Join(parts, ", ")
}
