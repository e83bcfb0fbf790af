package snmp

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/snmp/get"
)

// A plan is what to ask units of one model for. It does not change.
type plan struct {
	points []plannedPoint
	oids   []string // each once; sysUpTime last, so that no time stamp in the answer is later
	parts  []part   // the oids in requests, in their order
}

// A part is one request of a poll, and where its answers belong.
type part struct {
	request *get.Request
	at      []int
}

// newParts encodes requests of at most limit objects.
func newParts(oids []string, limit int) ([]part, error) {
	var parts []part
	for from := 0; from < len(oids); from += limit {
		to := min(from+limit, len(oids))
		r, err := get.New(oids[from:to])
		if err != nil {
			return nil, err
		}
		p := part{request: r}
		for i := from; i < to; i++ {
			p.at = append(p.at, i)
		}
		parts = append(parts, p)
	}
	return parts, nil
}

// only returns the part with the objects of places from to to.
func (p part) only(from, to int) part { return p.with(p.request.Objects()[from:to], p.at[from:to]) }

// without returns the part without the object of place i.
func (p part) without(i int) part {
	return p.with(slices.Delete(slices.Clone(p.request.Objects()), i, i+1), slices.Delete(slices.Clone(p.at), i, i+1))
}

func (p part) with(objects []string, at []int) part {
	r, err := get.New(objects)
	if err != nil {
		panic(err) // they have been encoded before
	}
	return part{r, at}
}

type plannedPoint struct {
	point model.Point
	at    []int // places in oids of the point's objects
}

func newPlan(m *model.Model, limit int) (*plan, error) {
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
	var err error
	if p.parts, err = newParts(p.oids, limit); err != nil {
		return nil, fmt.Errorf("model %q: %w", m.Name, err)
	}
	return p, nil
}

// of returns the places of the points that the unit has.
func (p *plan) of(u collector.Unit) []int {
	places := make([]int, 0, len(p.points))
	for i := range p.points {
		if p.fitted(i, &u) {
			places = append(places, i)
		}
	}
	return places
}

// fitted tells whether the unit has point i: it has all of the model's, unless
// its fleet file says that fewer supplies are fitted.
func (p *plan) fitted(i int, u *collector.Unit) bool {
	own := u.Equipment.Points
	return len(own) == 0 || len(own) == len(p.points) || slices.Contains(own, p.points[i].point.Point)
}

// decode returns the reading of point i, and what there is to say about it.
// room holds the values meanwhile: most points have one object, a sensor's row
// has six.
func (p *plan) decode(i int, unit string, answers []get.Answer, taken time.Time, room *[8]model.Value) (collector.Reading, string) {
	pp := &p.points[i]
	values := room[:0]
	for _, at := range pp.at {
		values = append(values, answers[at].Value)
	}
	d := pp.point.Decode(values, uint32(answers[len(answers)-1].Value.Uint))
	return collector.Reading{Unit: unit, Point: pp.point.Point, Value: d.Value, Quality: d.Quality, Taken: taken, Age: d.Age}, d.Note
}

func (p *plan) detail(i int, unit string, answers []get.Answer, taken time.Time) Detail {
	reading, note := p.decode(i, unit, answers, taken, new([8]model.Value))
	d := Detail{Reading: reading}
	var oids, raw, notes []string
	for _, at := range p.points[i].at {
		a := answers[at]
		oids, raw = append(oids, p.oids[at]), append(raw, a.Value.String())
		if a.Note != "" {
			notes = append(notes, a.Note)
		}
	}
	if note != "" && len(notes) == 0 {
		notes = append(notes, note)
	}
	d.Object, d.Raw, d.Note = strings.Join(oids, " "), strings.Join(raw, " "), strings.Join(notes, "; ")
	return d
}
