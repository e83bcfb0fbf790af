package diagnosis

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// finding makes the finding of a hypothesis. It is called before what it
// explains is taken in.
func (s *site) finding(h *hypothesis, rivals []hypothesis) alarms.Finding {
	var g ground
	s.ground(h.sig.Anchor, h.at, &g)
	list := slices.Clone(s.touchesOf(h))
	c := h.cause
	f := alarms.Finding{
		Cause: c.ID, Title: c.Title, Resource: s.resource(h.sig.Anchor, h.at), Place: s.place(h.sig.Anchor, h.at),
		Disproof: c.Disproof, Actions: c.Actions, Bring: c.Bring, Cautions: c.Cautions, NoVisit: c.NoVisit, Types: c.Types,
	}
	if h.sig.Anchor == AtFibre {
		f.Strand, f.Direction = s.fibres[h.at].path.Strand, s.fibres[h.at].direction()
	}
	if h.sized && c.Unit != "" {
		size := math.Round(h.size*10) / 10
		if h.sig.Negative {
			size = -size
		}
		f.Size, f.Unit = &size, c.Unit
	}
	f.Probability, f.Others = s.compare(h, rivals)
	signs := s.signs(list, h.size)
	f.Wording = wording(c.Surest, len(signs)+s.soundNeighbours(h), f.Probability)
	if len(f.Others) > 0 && f.Others[0].Probability >= 0.05 {
		f.Deciding = c.Deciding
	}
	f.Evidence = s.evidence(h, &g, signs)
	f.Since = s.since(signs)
	s.name(&f, &g, list)
	return f
}

// wording says how sure a finding is: by how many signals agree, not surer
// than the cause allows, and less sure when another fits nearly as well.
func wording(surest alarms.Wording, signs int, p float64) alarms.Wording {
	w := alarms.Possible
	switch {
	case surest == alarms.Confirmed && p >= 0.9:
		return alarms.Confirmed
	case p < 0.5:
	case signs >= 3 && p >= 0.8:
		w = alarms.VeryLikely
	case signs >= 2 || p >= 0.95:
		w = alarms.Likely
	}
	order := []alarms.Wording{alarms.Confirmed, alarms.VeryLikely, alarms.Likely, alarms.Possible}
	return order[max(slices.Index(order, w), slices.Index(order, surest))]
}

// compare returns the share of a hypothesis in the likelihood of all that
// explain the same signs, and the others by cause and place.
func (s *site) compare(h *hypothesis, rivals []hypothesis) (p float64, others []alarms.Alternative) {
	const most = 5
	own, sum := 0.0, 1.0 // 1: nothing is wrong
	for i := range rivals {
		r := &rivals[i]
		weight := math.Exp(min(r.score-h.score, 50))
		sum += weight * math.Exp(min(h.score, 50))
		resource := s.resource(r.sig.Anchor, r.at)
		if r.cause == h.cause && resource == s.resource(h.sig.Anchor, h.at) {
			own += weight * math.Exp(min(h.score, 50))
			continue
		}
		at := slices.IndexFunc(others, func(a alarms.Alternative) bool { return a.Cause == r.cause.ID && a.Resource == resource })
		if at < 0 {
			others = append(others, alarms.Alternative{Cause: r.cause.ID, Title: r.cause.Title, Resource: resource, Place: s.place(r.sig.Anchor, r.at)})
			at = len(others) - 1
		}
		others[at].Probability += weight * math.Exp(min(h.score, 50))
	}
	for i := range others {
		others[i].Probability = share(others[i].Probability / sum)
	}
	slices.SortStableFunc(others, func(a, b alarms.Alternative) int { return cmp.Compare(b.Probability, a.Probability) })
	return share(own / sum), others[:min(most, len(others))]
}

// share rounds to fiftieths, so that noise alone changes little.
func share(p float64) float64 { return math.Round(p*50) / 50 }

// signs returns the touches whose cells ask for a cause and get it from the
// hypothesis.
func (s *site) signs(list []touch, size float64) []touch {
	var out []touch
	for _, t := range list {
		c := s.cells[t.cell]
		if !c.odd {
			continue
		}
		if c.signal.state() {
			if t.fixed > 0.3 {
				out = append(out, t)
			}
			continue
		}
		mean, vari := t.at(size)
		if levelLog(c.d-c.mean-mean, math.Sqrt(c.sd*c.sd+c.vari+vari)) > c.base+1 {
			out = append(out, t)
		}
	}
	return out
}

// soundNeighbours counts what speaks for one fibre by being as it was: its
// transmitter, and the other fibre of its link.
func (s *site) soundNeighbours(h *hypothesis) int {
	if h.sig.Anchor != AtFibre {
		return 0
	}
	f, n := &s.fibres[h.at], 0
	for _, sig := range []Signal{Sent, LaserDark} {
		if c := &s.cells[s.cellOf(sig, f.laser)]; c.known && !c.odd {
			n = 1
		}
	}
	for i := range s.fibres {
		g := &s.fibres[i]
		c := &s.cells[s.cellOf(Dark, g.receiver)]
		if r := &s.cells[s.cellOf(Received, g.receiver)]; i != h.at && g.link == f.link && c.known && !c.odd && !r.odd {
			n++
		}
	}
	return n
}

func (s *site) since(signs []touch) time.Time {
	var first time.Time
	for _, t := range signs {
		if at := s.cells[t.cell].since; !at.IsZero() && (first.IsZero() || at.Before(first)) {
			first = at
		}
	}
	return first
}

// name fills in the links that a finding touches, and the resources whose
// alarms it explains.
func (s *site) name(f *alarms.Finding, g *ground, list []touch) {
	add := func(to *[]string, r string) {
		if !slices.Contains(*to, r) {
			*to = append(*to, r)
		}
	}
	add(&f.Resources, f.Resource)
	struck := map[int]bool{}
	for _, t := range list {
		c := &s.cells[t.cell]
		if !c.odd {
			continue
		}
		unit := "unit/" + s.units[c.unit].Unit.ID
		switch {
		case c.signal >= Silent && c.signal != RadioIn && c.signal != InputUnsteady:
			add(&f.Resources, unit)
		case c.signal <= Metered:
			struck[t.cell/perReceiver] = true
		}
		if c.point.Quantity != "" {
			add(&f.Resources, unit+"/"+c.point.String())
			s.addLikes(f, c.unit, c.point.Quantity, add)
		}
	}
	for _, i := range append(slices.Clone(g.fibres), g.incoming...) {
		fb := &s.fibres[i]
		if link := "link/" + fb.link.ID; struck[fb.receiver] || f.Resource == link || len(g.units) > 0 && slices.Contains(g.fibres, i) {
			add(&f.Links, link)
			add(&f.Resources, link)
			if fb.path.Cable != "" && len(g.fibres) > 1 {
				add(&f.Resources, "cable/"+fb.path.Cable)
			}
		}
	}
}

// addLikes adds the points that stand for the same thing in alarms: a
// receiver's power and its state, a laser's power and its state.
func (s *site) addLikes(f *alarms.Finding, unit int, q collector.Quantity, add func(*[]string, string)) {
	likes := map[collector.Quantity][]collector.Quantity{
		collector.OpticalReceivePower:  {collector.OpticalReceiveState},
		collector.OpticalTransmitPower: {collector.LaserState, collector.LaserBias},
		collector.RFOutputLevel:        {collector.RFNoiseFloor},
		collector.RFNoiseFloor:         {collector.RFOutputLevel},
		collector.AntennaFeedState:     {collector.LNACurrent},
		collector.LNACurrent:           {collector.AntennaFeedState},
		collector.SupplyState:          {collector.SupplyVoltage},
	}[q]
	for _, p := range s.units[unit].Unit.Equipment.Points {
		if slices.Contains(likes, p.Quantity) {
			add(&f.Resources, "unit/"+s.units[unit].Unit.ID+"/"+p.String())
		}
	}
}

// resource names an anchor.
func (s *site) resource(a Anchor, i int) string {
	switch a {
	case AtFibre:
		return "link/" + s.fibres[i].link.ID
	case AtPair:
		return "link/" + s.fibres[s.pairs[i][0]].link.ID
	case AtCable:
		return "cable/" + s.cables[i].id
	case AtLaser:
		return "unit/" + s.units[s.lasers[i].unit].Unit.ID
	case AtReceiver:
		return "unit/" + s.units[s.receivers[i].unit].Unit.ID
	case AtUnit:
		return "unit/" + s.units[i].Unit.ID
	}
	return "site/" + s.view.Site.ID
}

// place says the same for people.
func (s *site) place(a Anchor, i int) string {
	name := func(u int) string { return named(s.units[u].Unit) }
	at := func(p port, what string) string {
		if p.name != "" {
			what += " " + p.name
		}
		return fmt.Sprintf("%s of %s", what, name(p.unit))
	}
	site := s.view.Site.Name
	if site == "" {
		site = s.view.Site.ID
	}
	switch a {
	case AtFibre:
		f := &s.fibres[i]
		where := ""
		if f.path.Cable != "" {
			where = fmt.Sprintf(" (cable %s, strand %d)", f.path.Cable, f.path.Strand)
		}
		return fmt.Sprintf("%s of link %s%s, from %s to %s", f.direction(), f.link.ID, where, name(f.from), name(f.to))
	case AtPair:
		f, g := &s.fibres[s.pairs[i][0]], &s.fibres[s.pairs[i][1]]
		where := ""
		if f.path.Cable != "" {
			where = fmt.Sprintf(" (cable %s, strands %d and %d)", f.path.Cable, f.path.Strand, g.path.Strand)
		}
		return fmt.Sprintf("both fibres of link %s%s", f.link.ID, where)
	case AtCable:
		return "cable " + s.cables[i].id
	case AtLaser:
		return at(s.lasers[i], "laser")
	case AtReceiver:
		return at(s.receivers[i], "receiver")
	case AtUnit:
		return name(i)
	case AtRoof:
		return "all roof units of " + site
	case AtDip:
		var names []string
		for _, u := range s.dip {
			names = append(names, name(u))
		}
		return fmt.Sprintf("%s: %s", site, strings.Join(names, ", "))
	}
	return "the way to " + site
}

// named returns what people call a unit.
func named(u collector.Unit) string {
	if u.Name != "" {
		return u.Name
	}
	return u.ID
}
