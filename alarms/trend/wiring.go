package trend

import (
	"slices"

	"lightwell/collector"
)

// fibre is one direction of a link: the laser of one unit and the receiver of
// another.
type fibre struct {
	link     string
	path     collector.Path
	from, to port
}

// port is an optical port of a unit.
type port struct{ unit, name string }

// fibresAt returns the fibres of the links at a site whose ends are both
// there. Each end of a link takes the next port of its unit; a unit with one
// port feeds, or hears, all its links through it.
func fibresAt(f *collector.Fleet, site string) []fibre {
	var out []fibre
	used := map[string]int{} // links met so far, by unit
	for _, l := range f.LinksAt(site) {
		roof, ok := f.Unit(l.Outdoor)
		room, known := f.Unit(l.Indoor)
		if !ok || !known || roof.Site != site || room.Site != site || roof.ID == room.ID {
			continue
		}
		lay := func(path collector.Path, from, to collector.Unit) {
			out = append(out, fibre{
				link: l.ID, path: path,
				from: port{from.ID, nthPort(from, used[from.ID], collector.OpticalTransmitPower, collector.LaserState)},
				to:   port{to.ID, nthPort(to, used[to.ID], collector.OpticalReceivePower, collector.OpticalReceiveState)},
			})
		}
		lay(l.Downlink, roof, room)
		lay(l.Uplink, room, roof)
		used[roof.ID]++
		used[room.ID]++
	}
	return out
}

// nthPort returns the port that the nth link of a unit uses for quantity a or b.
func nthPort(u collector.Unit, n int, a, b collector.Quantity) string {
	var ports []string
	for _, p := range u.Equipment.Points {
		if (p.Quantity == a || p.Quantity == b) && !slices.Contains(ports, p.Port) {
			ports = append(ports, p.Port)
		}
	}
	if len(ports) == 0 {
		return ""
	}
	slices.Sort(ports)
	return ports[min(n, len(ports)-1)]
}

// feeds returns the laser that alone feeds each receiver. A receiver that
// hears several through a combiner has none.
func feeds(fibres []fibre) map[port]port {
	out, shared := map[port]port{}, map[port]bool{}
	for _, f := range fibres {
		if other, ok := out[f.to]; ok && other != f.from {
			shared[f.to] = true
		}
		out[f.to] = f.from
	}
	for p := range shared {
		delete(out, p)
	}
	return out
}
