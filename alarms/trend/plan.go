package trend

import (
	"slices"

	"lightwell/collector"
	"lightwell/collector/plan"
)

// followed are the quantities whose slow changes are followed: those that stay
// where they are while nothing is wrong. Radio levels follow traffic and
// satellites, supplies their loads. A laser's bias is followed by its own kind
// of series.
var followed = []collector.Quantity{collector.OpticalReceivePower, collector.OpticalTransmitPower}

// layout is the fleet as the keeper holds it.
type layout struct {
	sites map[string]*site
	units map[string]*unit
}

// lay makes the sites and units of a fleet, and asks for the group of each
// point.
func lay(f *collector.Fleet, group func(model string, q collector.Quantity) *group) layout {
	l := layout{make(map[string]*site, len(f.Sites)), make(map[string]*unit, len(f.Units))}
	for _, s := range f.Sites {
		at := &site{}
		for _, u := range f.UnitsAt(s.ID) {
			made := newUnit(at, u, group)
			made.work = disturbers(f, u)
			at.units = append(at.units, made)
			l.units[u.ID] = made
		}
		for to, from := range feeds(f, s.ID) {
			l.units[to.Unit].join(to.Port, l.units[from.Unit], from.Port)
		}
		for _, link := range f.LinksAt(s.ID) {
			l.endure(plan.Of(f, link))
		}
		l.sites[s.ID] = at
	}
	return l
}

// endure notes what the services of a link bear. A receiver that links share
// tells of none of them.
func (l layout) endure(p plan.Link) {
	for i := range p.Directions {
		d := &p.Directions[i]
		u := l.units[d.To.Unit]
		loss, by, ok := d.Bears()
		if u == nil || !ok || by == plan.ByReceiver || d.To.Links > 1 {
			continue
		}
		if u.bears == nil {
			u.bears = map[collector.Point]float64{}
		}
		u.bears[d.Receiver()] = float64(loss)
	}
}

func newUnit(at *site, u collector.Unit, group func(string, collector.Quantity) *group) *unit {
	out := &unit{at: at, id: u.ID, model: u.Equipment.Model, kind: u.Equipment.Points, least: u.Equipment.Limits.ReceivePowerMinDBm}
	for i, p := range u.Equipment.Points {
		if p.Quantity == collector.Temperature {
			out.gauges = append(out.gauges, gauge{of: out, pos: int16(i)})
		}
	}
	for i, p := range u.Equipment.Points {
		if p.Quantity == collector.LaserBias {
			out.lasers = append(out.lasers, laser{pos: int16(i), own: out.gauge(p.Port)})
		}
		if slices.Contains(followed, p.Quantity) {
			own := out.gauge(p.Port)
			out.points = append(out.points, point{pos: int16(i), home: own, own: own, group: group(out.model, p.Quantity)})
		}
	}
	return out
}

// gauge returns the thermometer of a port, else that of the case; nil: none.
func (u *unit) gauge(port string) *gauge {
	var of *gauge
	for i := range u.gauges {
		switch u.kind[u.gauges[i].pos].Port {
		case port:
			return &u.gauges[i]
		case "":
			of = &u.gauges[i]
		}
	}
	return of
}

// find returns the followed point of a quantity and port; nil: none.
func (u *unit) find(q collector.Quantity, port string) *point {
	for i := range u.points {
		if u.kind[u.points[i].pos] == (collector.Point{Quantity: q, Port: port}) {
			return &u.points[i]
		}
	}
	return nil
}

// join tells a receiver which laser feeds it.
func (u *unit) join(name string, far *unit, laser string) {
	p := u.find(collector.OpticalReceivePower, name)
	if p == nil {
		return
	}
	p.far = far.gauge(laser)
	p.reset()
	if tx := far.find(collector.OpticalTransmitPower, laser); tx != nil {
		if tx.sends == nil {
			tx.sends = &sender{place: place{far.id, far.kind[tx.pos]}, gauge: tx.own}
		}
		p.feed = tx.sends
		far.fed = append(far.fed, receiver{u, p})
	}
}

// disturbers returns the resources whose planned work disturbs what a unit
// reads.
func disturbers(f *collector.Fleet, u collector.Unit) []string {
	out := []string{"site/" + u.Site, "unit/" + u.ID}
	add := func(resource string) {
		if !slices.Contains(out, resource) {
			out = append(out, resource)
		}
	}
	if u.Via != "" {
		add("unit/" + u.Via)
	}
	for _, l := range f.LinksOf(u.ID) {
		for _, r := range []string{"link/" + l.ID, "unit/" + l.Outdoor, "unit/" + l.Indoor, "cable/" + l.Downlink.Cable, "cable/" + l.Uplink.Cable} {
			if r != "cable/" {
				add(r)
			}
		}
	}
	return out
}
