package replay

import (
	"context"
	"maps"
	"slices"
	"strings"
	"time"

	"lightwell/alarms/baseline"
	"lightwell/collector"
)

// Invent makes up a fleet for units of which nothing but readings is known:
// each is an indoor unit at a site of its own, so that none is taken for the
// cause of what another shows, and has the points that it has readings of.
func Invent(points map[string][]collector.Point) *collector.Fleet {
	var f collector.Fleet
	for _, id := range slices.Sorted(maps.Keys(points)) {
		of := slices.Clone(points[id])
		slices.SortFunc(of, func(a, b collector.Point) int { return strings.Compare(a.String(), b.String()) })
		f.Sites = append(f.Sites, collector.Site{ID: id, Name: id, Location: time.UTC})
		f.Units = append(f.Units, collector.Unit{ID: id, Site: id, Role: collector.Indoor, Equipment: collector.Equipment{Points: of}})
	}
	return collector.NewFleet(f)
}

// sketch is a baseline in the making.
type sketch struct {
	*baseline.Sketch
	begun, last time.Time
}

// takeBaselines makes the baseline of each unit from its first readings.
func (r *run) takeBaselines(ctx context.Context, rec *Recording) error {
	r.levels = levels{}
	if r.cfg.BaselinePolls <= 0 && r.cfg.BaselineTime <= 0 {
		return nil
	}
	sketches, open, polls := map[string]*sketch{}, len(rec.units.all), 0
	for p := range rec.All() {
		if polls++; polls%checkEvery == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		s, seen := sketches[p.Unit]
		switch {
		case !seen:
			s = &sketch{baseline.NewSketch(p.Started), p.Started, p.Started}
			sketches[p.Unit] = s
		case s == nil: // done
			continue
		case s.Polls() >= r.cfg.BaselinePolls && p.Started.Sub(s.begun) >= r.cfg.BaselineTime:
			r.refer(p.Unit, s)
			sketches[p.Unit] = nil
			if open--; open == 0 {
				return nil
			}
			continue
		}
		if p.Err == nil {
			s.last = p.Started
		}
		s.Observe(p)
	}
	for _, id := range rec.units.all { // their readings have ended before
		if s := sketches[id]; s != nil {
			r.refer(id, s)
		}
	}
	return nil
}

func (r *run) refer(id string, s *sketch) {
	unit, ok := r.cfg.Fleet.Unit(id)
	if !ok {
		return
	}
	record := s.Record(unit, s.last)
	ref := Reference{Unit: id, Until: s.last, Levels: make(map[string]baseline.Level, len(record.Levels)), Findings: record.Findings}
	for p, level := range record.Levels {
		ref.Levels[p.String()] = level
	}
	if len(record.Levels) > 0 {
		r.levels[id] = record.Levels
	}
	r.result.References = append(r.result.References, ref)
}
