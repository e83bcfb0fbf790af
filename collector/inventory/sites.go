package inventory

import (
	"lightwell/collector"
)

func (l *loader) checkSites() {
	for i := range l.sites {
		e := &l.sites[i]
		s := collector.Site{ID: e.T.ID, Name: e.T.Name, Address: e.T.Address, Access: e.T.Access, Location: l.zone(e.place, e.T.TimeZone)}
		if s.Name == "" {
			s.Name = s.ID
		}
		l.checkPoll(e.place, e.T.Poll, s.Location)
		l.site[s.ID] = s
		l.out.Sites = append(l.out.Sites, s)
	}
}

// maxCableM is longer than any run of fibre between a roof and a room.
const maxCableM = 100_000

func (l *loader) checkCables() {
	for i := range l.cables {
		e := &l.cables[i]
		l.refer(e.place, "site", "site", e.T.Site)
		if e.doc.Has(e.at+".length_m") && !(e.T.LengthM > 0 && e.T.LengthM <= maxCableM) {
			l.fault(e.place, "length_m", "write the length of the sheath in metres", "length %g m cannot be", e.T.LengthM)
		}
		l.out.Cables = append(l.out.Cables, collector.Cable{ID: e.T.ID, Site: e.T.Site, LengthM: e.T.LengthM, Route: e.T.Route})
	}
}
