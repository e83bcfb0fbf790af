// Package inventory reads fleet files: sites, cables, units, links, the
// user's severities and planned work.
//
// It guarantees that a fleet it returns is whole: every reference leads
// somewhere, every unit has an address, a known model and a schedule, no
// strand is used twice. Otherwise it returns every fault of every file at
// once, with file, line, column and remedy. Data comes from the files named
// by the caller and from the equipment models in Options.
//
// Several files make one fleet and may refer to each other.
//
// # Fleet file
//
//	poll           schedule of the units in this file: cron or @every
//	sites          id, name, address, access, time_zone (UTC), poll
//	cables         id, site, length_m, route
//	units          id, name, site, role (outdoor, indoor), model, supplies (fitted;
//	               the model's), poll, and either address (port 161) with
//	               credentials, or via, the unit that knows its values
//	links          id, name, outdoor, indoor, use (repeater, direct-feed), services,
//	               downlink and uplink: cable, strand, wavelength_nm (1310),
//	               connectors, splices; rf: gain_before_laser_db,
//	               noise_figure_before_laser_db, antenna_noise_k, carrier_dbw,
//	               cn0_min_dbhz
//	severities     type, severity, and site or unit; the more special line wins
//	planned_work   id, resources (site/x, unit/x, link/x, cable/x), start (RFC 3339
//	               or cron), duration, time_zone (that of the resources' site), reason
//
// Defaults stand in brackets. The schedule of a unit is its own, else its
// site's, else its file's, else that of Options.
package inventory

import (
	"runtime"
	"time"

	"golang.org/x/sync/errgroup"

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
	pages := make([]page, len(files))
	var g errgroup.Group
	g.SetLimit(runtime.GOMAXPROCS(0))
	for i, name := range files {
		g.Go(func() error {
			pages[i] = readPage(document.Read(name))
			return nil
		})
	}
	_ = g.Wait() // faults are in the pages
	l := newLoader(o)
	for _, p := range pages {
		l.add(p)
	}
	return l.fleet()
}

// Parse reads one fleet file from memory; name stands in the faults. The
// error is document.Faults.
func Parse(name string, data []byte, o Options) (*collector.Fleet, error) {
	l := newLoader(o)
	l.add(readPage(document.Parse(name, data)))
	return l.fleet()
}
