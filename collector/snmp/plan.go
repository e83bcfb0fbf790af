package snmp

import (
	"slices"
	"strings"
	"time"

	"lightwell/collector"
	"lightwell/collector/model"
)

// A plan is what to ask units of one model for. It does not change.
type plan struct {
	points []plannedPoint
	oids   []string // each once; sysUpTime last, so that no time stamp in the answer is later
}

type plannedPoint struct {
	point model.Point
	at    []int // places in oids of the point's objects
}

func newPlan(m *model.Model) *plan {
	p := &plan{points: make([]plannedPoint, len(m.Points))}
	place := map[string]int{}
	for _, oid := range m.Objects() {
		if oid != sysUpTime {
			place[oid] = len(p.oids)
			p.oids = append(p.oids, oid)
		}
	}
	place[sysUpTime] = len(p.oids)
	p.oids = append(p.oids, sysUpTime)
	for i, point := range m.Points {
		p.points[i].point = point
		for _, oid := range point.Objects() {
			p.points[i].at = append(p.points[i].at, place[oid])
		}
	}
	return p
}

// of returns the places of the points that the unit has: all of the model's,
// unless its fleet file says that fewer supplies are fitted.
func (p *plan) of(u collector.Unit) []int {
	places := make([]int, 0, len(p.points))
	all := len(u.Equipment.Points) == 0 || len(u.Equipment.Points) == len(p.points)
	for i := range p.points {
		if all || slices.Contains(u.Equipment.Points, p.points[i].point.Point) {
			places = append(places, i)
		}
	}
	return places
}

// decode returns the reading of point i, and what there is to say about it.
func (p *plan) decode(i int, unit string, objects []object, taken time.Time) (collector.Reading, string) {
	pp := p.points[i]
	var room [8]model.Value // most points have one object, a sensor's row has six
	values := room[:0]
	for _, at := range pp.at {
		values = append(values, objects[at].value)
	}
	d := pp.point.Decode(values, uint32(objects[len(objects)-1].value.Uint))
	return collector.Reading{Unit: unit, Point: pp.point.Point, Value: d.Value, Quality: d.Quality, Taken: taken, Age: d.Age}, d.Note
}

func (p *plan) detail(i int, unit string, objects []object, taken time.Time) Detail {
	reading, note := p.decode(i, unit, objects, taken)
	d := Detail{Reading: reading}
	var oids, raw, notes []string
	for _, at := range p.points[i].at {
		o := objects[at]
		oids, raw = append(oids, o.oid), append(raw, o.value.String())
		if o.note != "" {
			notes = append(notes, o.note)
		}
	}
	if note != "" && len(notes) == 0 {
		notes = append(notes, note)
	}
	d.Object, d.Raw, d.Note = strings.Join(oids, " "), strings.Join(raw, " "), strings.Join(notes, "; ")
	return d
}
