package inventory

import (
	"cmp"
	"fmt"

	"lightwell/collector"
	"lightwell/collector/document"
)

// strand is one fibre of a cable.
type strand struct {
	cable  string
	number int
}

func (l *loader) checkLinks() {
	used := map[strand]string{}
	fed := map[string]int{}        // outdoor unit to its number of links
	taken := map[string]string{}   // indoor unit to its link
	joined := map[[2]string]bool{} // outdoor and indoor unit that share a link
	cableSite := map[string]string{}
	for i := range l.cables {
		cableSite[l.cables[i].T.ID] = l.cables[i].T.Site
	}
	for i := range l.links {
		e := &l.links[i]
		k := collector.Link{ID: e.T.ID, Name: cmp.Or(e.T.Name, e.T.ID), Outdoor: e.T.Outdoor, Indoor: e.T.Indoor, Use: collector.Use(e.T.Use), Services: e.T.Services}
		if uses := []string{string(collector.Repeater), string(collector.DirectFeed)}; e.T.Use != "" && e.T.Use != uses[0] && e.T.Use != uses[1] {
			l.fault(e.place, "use", document.Nearest(e.T.Use, uses), "unknown use %q", e.T.Use)
		}
		site := l.ends(e, fed, taken)
		joined[[2]string{k.Outdoor, k.Indoor}] = true
		k.Downlink = l.path(e, "downlink", e.T.Downlink, site, cableSite, used)
		k.Uplink = l.path(e, "uplink", e.T.Uplink, site, cableSite, used)
		k.RF = l.rf(e)
		l.out.Links = append(l.out.Links, k)
	}
	l.checkVia(fed, joined)
}

// ends checks the two units of a link and returns their site, or "" when it
// is not clear.
func (l *loader) ends(e *entry[linkLayout], fed map[string]int, taken map[string]string) string {
	outdoor := l.end(e, "outdoor", e.T.Outdoor, collector.Outdoor)
	indoor := l.end(e, "indoor", e.T.Indoor, collector.Indoor)
	if outdoor != nil {
		if fed[e.T.Outdoor]++; fed[e.T.Outdoor] > collector.MaxIndoorPerOutdoor {
			l.fault(e.place, "outdoor", "use another outdoor unit", "unit %q already has %d links", e.T.Outdoor, collector.MaxIndoorPerOutdoor)
		}
	}
	if indoor != nil {
		if other, twice := taken[e.T.Indoor]; twice {
			l.fault(e.place, "indoor", "an indoor unit is the end of one link", "unit %q belongs to link %q", e.T.Indoor, other)
		}
		taken[e.T.Indoor] = e.T.ID
	}
	if outdoor == nil || indoor == nil {
		return ""
	}
	if outdoor.T.Site != indoor.T.Site {
		l.fault(e.place, "", "a link is within one site", "unit %q is at site %q, unit %q at site %q", outdoor.T.ID, outdoor.T.Site, indoor.T.ID, indoor.T.Site)
		return ""
	}
	return indoor.T.Site
}

func (l *loader) end(e *entry[linkLayout], key, id string, role collector.Role) *entry[unitLayout] {
	if !l.refer(e.place, key, "unit", id) {
		return nil
	}
	u := l.unit[id]
	if u.T.Role != "" && collector.Role(u.T.Role) != role {
		l.fault(e.place, key, "name a unit of that role; outdoor and indoor may be exchanged", "unit %q is %s", id, u.T.Role)
		return nil
	}
	return u
}

// Wavelengths that single-mode links of this kind use, with room around them.
const (
	defaultWavelengthNM = 1310
	minWavelengthNM     = 800
	maxWavelengthNM     = 1700
	maxStrand           = 10_000
	maxJoints           = 1000
)

func (l *loader) path(e *entry[linkLayout], key string, p *pathLayout, site string, cableSite map[string]string, used map[strand]string) collector.Path {
	if p == nil {
		return collector.Path{}
	}
	out := collector.Path{Cable: p.Cable, Strand: p.Strand, WavelengthNM: defaultWavelengthNM, Connectors: p.Connectors, Splices: p.Splices}
	if p.WavelengthNM != nil {
		out.WavelengthNM = *p.WavelengthNM
	}
	if !(out.WavelengthNM >= minWavelengthNM && out.WavelengthNM <= maxWavelengthNM) {
		l.fault(e.place, key+".wavelength_nm", "write it in nanometres, like 1310", "wavelength %g nm is outside %d to %d nm", out.WavelengthNM, minWavelengthNM, maxWavelengthNM)
	}
	if p.Connectors < 0 || p.Connectors > maxJoints {
		l.fault(e.place, key+".connectors", "count the mated pairs on the way", "%d connectors cannot be", p.Connectors)
	}
	if p.Splices < 0 || p.Splices > maxJoints {
		l.fault(e.place, key+".splices", "count the splices on the way", "%d splices cannot be", p.Splices)
	}
	known := l.refer(e.place, key+".cable", "cable", p.Cable)
	if at := cableSite[p.Cable]; known && site != "" && at != "" && at != site {
		l.fault(e.place, key+".cable", "name a cable of the link's site", "cable %q is at site %q, the link at %q", p.Cable, at, site)
	}
	if !e.doc.Has(e.at + "." + key + ".strand") {
		return out
	}
	if p.Strand < 1 || p.Strand > maxStrand {
		l.fault(e.place, key+".strand", "count the fibres of the cable from 1", "there is no strand %d", p.Strand)
		return out
	}
	here := fmt.Sprintf("%s of link %q", key, e.T.ID)
	if other, twice := used[strand{p.Cable, p.Strand}]; twice && known {
		l.fault(e.place, key+".strand", "give each direction a strand of its own", "strand %d of cable %q is used by %s", p.Strand, p.Cable, other)
	}
	used[strand{p.Cable, p.Strand}] = here
	return out
}

func (l *loader) rf(e *entry[linkLayout]) *collector.RF {
	if e.T.RF == nil {
		return nil
	}
	r := collector.RF(*e.T.RF)
	for _, c := range []struct {
		key      string
		value    float64
		min, max float64
		remedy   string
	}{
		{"gain_before_laser_db", r.GainBeforeLaserDB, -100, 150, "write the gain from antenna to laser in dB"},
		{"noise_figure_before_laser_db", r.NoiseFigureBeforeLaserDB, 0, 100, "write the noise figure from antenna to laser in dB"},
		{"antenna_noise_k", r.AntennaNoiseK, 1, 100_000, "write the antenna's noise temperature in kelvin, like 130"},
		{"carrier_dbw", r.CarrierDBW, -300, 0, "write the received carrier in dBW, like -155"},
		{"cn0_min_dbhz", r.CN0MinDBHz, 0, 150, "write the lowest C/N0 the service works with in dB-Hz, like 37"},
	} {
		if key := "rf." + c.key; e.doc.Has(e.at+"."+key) && !(c.value >= c.min && c.value <= c.max) {
			l.fault(e.place, key, c.remedy, "%s %g is outside %g to %g", c.key, c.value, c.min, c.max)
		}
	}
	return &r
}

// checkVia looks for outdoor units that are read via a unit they have no
// link to, although they have links.
func (l *loader) checkVia(fed map[string]int, joined map[[2]string]bool) {
	for i := range l.units {
		e := &l.units[i]
		if through := l.unit[e.T.Via]; through != nil && through != e && e.T.Role == string(collector.Outdoor) && fed[e.T.ID] > 0 && !joined[[2]string{e.T.ID, e.T.Via}] {
			l.fault(e.place, "via", "name the indoor unit of one of its links", "no link joins it with unit %q", e.T.Via)
		}
	}
}
