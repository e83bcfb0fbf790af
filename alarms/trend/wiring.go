package trend

import "lightwell/collector"

// feeds returns, for the links at a site whose ends are both there, the laser
// that alone feeds each receiver. A receiver that hears several through a
// combiner has none.
func feeds(f *collector.Fleet, site string) map[collector.Port]collector.Port {
	out, shared := map[collector.Port]collector.Port{}, map[collector.Port]bool{}
	for _, l := range f.LinksAt(site) {
		roof, _ := f.Unit(l.Outdoor)
		room, _ := f.Unit(l.Indoor)
		if roof.Site != site || room.Site != site || roof.ID == room.ID {
			continue
		}
		for _, fibre := range f.Fibres(l) {
			if other, ok := out[fibre.To]; ok && other != fibre.From {
				shared[fibre.To] = true
			}
			out[fibre.To] = fibre.From
		}
	}
	for p := range shared {
		delete(out, p)
	}
	return out
}
