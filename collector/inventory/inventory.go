// Package inventory reads fleet files: sites, cables, units, links, the
// user's severities and planned work.
//
// It guarantees that a fleet it returns is whole: every reference leads
// somewhere, every unit has an address, a known model and a schedule, no
// strand is used twice. Otherwise it returns every fault of every file at
// once, with file, line, column and remedy. Data comes from the files named
// by the caller and from the equipment models in Options.
//
// Several files make one fleet and may refer to each other. The key poll of a
// file applies to the units in that file.
package inventory

import (
	"time"

	"lightwell/collector"
	"lightwell/collector/document"
	"lightwell/collector/model"
)

// DefaultPoll is the schedule of units for which neither unit, site, file nor
// Options name one.
const DefaultPoll = "@every 60s"

// DefaultMinPoll is the shortest period when Options name none: below it an
// agent of the kind found in small equipment cannot answer a full read.
const DefaultMinPoll = 10 * time.Second

// Options say what a fleet file may refer to.
type Options struct {
	Models      *model.Set    // required
	DefaultPoll string        // schedule; "": DefaultPoll
	Credentials []string      // names that units may use; nil: not checked
	AlarmTypes  []string      // types that severities may name; nil: not checked
	MinPoll     time.Duration // shortest period of a schedule; 0: DefaultMinPoll
}

// Load reads fleet files as one fleet. The error is document.Faults: every
// fault of every file.
func Load(files []string, o Options) (*collector.Fleet, error) {
	l := newLoader(o)
	for _, name := range files {
		doc, faults := document.Read(name)
		l.faults = append(l.faults, faults...)
		if doc != nil {
			l.add(doc)
		}
	}
	return l.fleet()
}

// Parse reads one fleet file from memory; name stands in the faults. The
// error is document.Faults.
func Parse(name string, data []byte, o Options) (*collector.Fleet, error) {
	l := newLoader(o)
	doc, faults := document.Parse(name, data)
	l.faults = append(l.faults, faults...)
	if doc != nil {
		l.add(doc)
	}
	return l.fleet()
}
