package collector

import "slices"

// A Port is an optical port of a unit, as one end of a fibre.
type Port struct {
	Unit  string
	Port  string // name as in points; "" for the only one
	Links int    // that share it, through a splitter or a combiner
}

// A Fibre is one direction of a link with the ports at its ends.
type Fibre struct {
	Name     string // downlink or uplink
	Path     Path
	From, To Port
}

// Transmitter returns the point that reads the light sent into f.
func (f Fibre) Transmitter() Point { return Point{OpticalTransmitPower, f.From.Port} }

// Receiver returns the point that reads the light arriving from f.
func (f Fibre) Receiver() Point { return Point{OpticalReceivePower, f.To.Port} }

// Fibres returns the downlink and the uplink of a link. Links take the ports
// of a unit in the order of the fleet; those beyond the last share it.
func (f *Fleet) Fibres(l Link) [2]Fibre {
	outTx, outRx := f.port(l.Outdoor, l.ID, OpticalTransmitPower, LaserState), f.port(l.Outdoor, l.ID, OpticalReceivePower, OpticalReceiveState)
	inTx, inRx := f.port(l.Indoor, l.ID, OpticalTransmitPower, LaserState), f.port(l.Indoor, l.ID, OpticalReceivePower, OpticalReceiveState)
	return [2]Fibre{{"downlink", l.Downlink, outTx, inRx}, {"uplink", l.Uplink, inTx, outRx}}
}

// port finds the port, among those that give quantity a or b, that a link uses
// at a unit.
func (f *Fleet) port(unit, link string, a, b Quantity) Port {
	u, _ := f.Unit(unit)
	out := Port{Unit: unit, Links: 1}
	var names []string
	for _, p := range u.Equipment.Points {
		if (p.Quantity == a || p.Quantity == b) && !slices.Contains(names, p.Port) {
			names = append(names, p.Port)
		}
	}
	if len(names) == 0 {
		return out
	}
	slices.Sort(names)
	at, links := f.index.unitLinks[unit], len(f.index.unitLinks[unit])
	n := min(max(slices.IndexFunc(at, func(i int) bool { return f.Links[i].ID == link }), 0), len(names)-1)
	if out.Port = names[n]; n == len(names)-1 {
		out.Links = max(1, links-n)
	}
	return out
}
