package baseline

import (
	"slices"

	"lightwell/collector"
)

// A thermometer is a temperature that may explain a point.
type thermometer struct {
	unit   string
	port   string
	source Source
}

// thermometers returns the temperatures that may explain a point of u, its own
// first: that of its port where the unit reads one, else that of its case; for
// what comes out of a fibre also that of the unit at the other end; and, where
// neither stands outside, that of an outdoor unit of the site.
func thermometers(f *collector.Fleet, u collector.Unit, p collector.Point) []thermometer {
	own := thermometer{unit: u.ID, source: OwnCase}
	if p.Port != "" && slices.Contains(u.Equipment.Points, collector.Point{Quantity: collector.Temperature, Port: p.Port}) {
		own.port = p.Port
	}
	out := []thermometer{own}
	if !arrives(p.Quantity) {
		return out
	}
	outside := u.Role == collector.Outdoor
	if far, ok := farEnd(f, u, p); ok {
		outside = outside || far.Role == collector.Outdoor
		out = append(out, thermometer{unit: far.ID, source: FarEnd})
	}
	if outside {
		return out
	}
	for _, other := range f.UnitsAt(u.Site) {
		if other.Role == collector.Outdoor {
			return append(out, thermometer{unit: other.ID, source: Outdoor})
		}
	}
	return out
}

// arrives tells whether a quantity is of what comes out of a fibre.
func arrives(q collector.Quantity) bool {
	return q == collector.OpticalReceivePower || q == collector.RFOutputLevel
}

// farEnd returns the unit at the other end of the fibre of a point: links take
// the ports of a unit in their order. A port that hears several has none.
func farEnd(f *collector.Fleet, u collector.Unit, p collector.Point) (collector.Unit, bool) {
	var ports []string
	for _, q := range u.Equipment.Points {
		if q.Quantity == p.Quantity {
			ports = append(ports, q.Port)
		}
	}
	slices.Sort(ports)
	links := f.LinksOf(u.ID)
	i := slices.Index(ports, p.Port)
	if i < 0 || i >= len(links) || len(ports) < len(links) {
		return collector.Unit{}, false
	}
	id := links[i].Outdoor
	if id == u.ID {
		id = links[i].Indoor
	}
	far, ok := f.Unit(id)
	return far, ok && far.Site == u.Site && far.ID != u.ID
}
