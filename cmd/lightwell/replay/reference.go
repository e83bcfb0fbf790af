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
// cause of what another shows, and has the points that it has readings of. One
// that reads light has a link to a far end that is never heard of, so that a
// fibre that goes dark is noticed.
func Invent(points map[string][]collector.Point) *collector.Fleet {
	var f collector.Fleet
	for _, id := range slices.Sorted(maps.Keys(points)) {
		of := slices.Clone(points[id])
		slices.SortFunc(of, func(a, b collector.Point) int { return strings.Compare(a.String(), b.String()) })
		f.Sites = append(f.Sites, collector.Site{ID: id, Name: id, Location: time.UTC})
		f.Units = append(f.Units, collector.Unit{ID: id, Site: id, Role: collector.Indoor, Equipment: collector.Equipment{Points: of}})
		if slices.ContainsFunc(of, func(p collector.Point) bool {
			return p.Quantity == collector.OpticalReceivePower || p.Quantity == collector.OpticalReceiveState
		}) {
			far := id + farEnd
			f.Units = append(f.Units, collector.Unit{ID: far, Site: id, Role: collector.Outdoor})
			f.Links = append(f.Links, collector.Link{ID: id, Outdoor: far, Indoor: id})
		}
	}
	return collector.NewFleet(f)
}

// farEnd makes the id of a far end. No id of a recording has a slash.
const farEnd = "/far-end"

// sketch is a baseline in the making.
type sketch struct {
	*baseline.Sketch
	begun, last time.Time
}

// takeBaselines makes the baseline of each unit from its first readings.
func (p *part) takeBaselines(ctx context.Context) error {
	if p.cfg.BaselinePolls <= 0 && p.cfg.BaselineTime <= 0 {
		return nil
	}
	sketches, done, polls := map[string]*sketch{}, map[string]bool{}, 0
	for poll := range p.rec.polls(p.wanted) {
		if polls++; polls%checkEvery == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		s := sketches[poll.Unit]
		switch {
		case done[poll.Unit]:
			continue
		case s == nil:
			s = &sketch{baseline.NewSketch(poll.Started), poll.Started, poll.Started}
			sketches[poll.Unit] = s
		case s.Polls() >= p.cfg.BaselinePolls && poll.Started.Sub(s.begun) >= p.cfg.BaselineTime:
			done[poll.Unit] = true
			continue
		}
		if poll.Err == nil {
			s.last = poll.Started
		}
		s.Observe(poll)
	}
	for id, s := range sketches {
		p.refer(id, s)
	}
	return nil
}

func (p *part) refer(id string, s *sketch) {
	unit, _ := p.cfg.Fleet.Unit(id)
	record := s.Record(unit, s.last)
	ref := Reference{Unit: id, Until: s.last, Levels: make(map[string]baseline.Level, len(record.Levels)), Findings: record.Findings}
	for point, level := range record.Levels {
		ref.Levels[point.String()] = level
	}
	if len(record.Levels) > 0 {
		p.levels[id] = record.Levels
	}
	p.references = append(p.references, ref)
}
