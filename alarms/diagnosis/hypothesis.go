package diagnosis

import (
	"cmp"
	"math"
	"slices"

	"lightwell/collector"
)

// hypothesis is a cause at a place.
type hypothesis struct {
	cause *Cause
	sig   *Signature
	at    int // index of the anchor among its kind
	fitted
	prior float64 // log
	score float64 // gain and prior: log odds against nothing
}

// ground is what an anchor consists of.
type ground struct {
	fibres, incoming, lasers, units []int
}

// count returns how many anchors of a kind the site has.
func (s *site) count(a Anchor) int {
	switch a {
	case AtFibre:
		return len(s.fibres)
	case AtPair:
		return len(s.pairs)
	case AtCable:
		return len(s.cables)
	case AtLaser:
		return len(s.lasers)
	case AtReceiver:
		return len(s.receivers)
	case AtUnit:
		return len(s.units)
	}
	return 1
}

// ground returns what the anchor consists of; ok is false where the site has
// too little for it.
func (s *site) ground(a Anchor, i int, to *ground) (ok bool) {
	*to = ground{fibres: to.fibres[:0], incoming: to.incoming[:0], lasers: to.lasers[:0], units: to.units[:0]}
	switch a {
	case AtFibre:
		to.fibres = append(to.fibres, i)
	case AtPair:
		to.fibres = append(to.fibres, s.pairs[i]...)
	case AtCable:
		to.fibres = append(to.fibres, s.cables[i].fibres...)
		return len(to.fibres) >= 2
	case AtLaser:
		to.fibres, to.lasers = append(to.fibres, s.lasers[i].fibres...), append(to.lasers, i)
		to.units = append(to.units, s.lasers[i].unit)
	case AtReceiver:
		to.fibres = append(to.fibres, s.receivers[i].fibres...)
	case AtUnit:
		s.addUnit(i, to)
	case AtDip:
		to.units = append(to.units, s.dip...)
		return len(s.dip) >= 2
	default:
		for j, u := range s.units {
			if a == AtSite && u.Unit.Via == "" || a == AtRoof && u.Unit.Role == collector.Outdoor {
				s.addUnit(j, to)
			}
		}
		return len(to.units) >= 2
	}
	return true
}

func (s *site) addUnit(i int, to *ground) {
	to.units = append(to.units, i)
	to.fibres, to.incoming = append(to.fibres, s.out[i]...), append(to.incoming, s.in[i]...)
	for _, f := range s.out[i] {
		if l := s.fibres[f].laser; !slices.Contains(to.lasers, l) {
			to.lasers = append(to.lasers, l)
		}
	}
}

// touches lays the effects of a signature on the cells of its ground. odd is
// false when none of them asks for a cause. The result is valid until the next
// call.
func (s *site) touches(sig *Signature, g *ground) (list []touch, odd bool) {
	s.buffer = s.buffer[:0]
	for i := range sig.Effects {
		e := &sig.Effects[i]
		switch {
		case e.Signal > Warming:
			for _, u := range g.units {
				s.touchUnit(e, sig, u)
			}
		case e.Signal > Metered:
			for _, l := range g.lasers {
				s.touch(e, sig, l, 1, 1)
			}
		case e.Side == In:
			s.touchReceivers(e, sig, g.incoming)
		default:
			s.touchReceivers(e, sig, g.fibres)
		}
	}
	for i := range s.buffer {
		odd = odd || s.cells[s.buffer[i].cell].odd
	}
	return s.buffer, odd
}

// touchUnit: with a unit fall silent those that are read through it.
func (s *site) touchUnit(e *Effect, sig *Signature, unit int) {
	s.touch(e, sig, unit, 1, 1)
	if e.Signal != Silent {
		return
	}
	for _, w := range s.through[unit] {
		s.touch(e, sig, w, 1, 1)
	}
}

// touchReceivers lays an effect on the receivers at the end of fibres, each
// once. Where only a part of the light at a receiver comes through them, it is
// thinned and not put out.
func (s *site) touchReceivers(e *Effect, sig *Signature, fibres []int) {
	for n, i := range fibres {
		f := &s.fibres[i]
		first, struck, bend := true, 0.0, 1.0
		for m, j := range fibres {
			if s.fibres[j].receiver == f.receiver {
				first = first && m >= n
				struck++
			}
		}
		if !first {
			continue
		}
		part := struck / float64(len(s.receivers[f.receiver].fibres))
		if e.Bends {
			bend = f.bend
		}
		switch {
		case e.Signal == Dark && part < 1:
			lost := Effect{Signal: Received, Fixed: 10 * math.Log10(1-part), Spread: 0.6}
			s.touch(&lost, sig, f.receiver, 1, 1)
		case part < 1 && !e.Thins:
			continue
		default:
			s.touch(e, sig, f.receiver, part, bend)
		}
		if e.Signal == Dark && e.Fixed > 0.5 {
			s.silence(sig, fibres, f.receiver)
		}
	}
}

// silence: what is read over a dark fibre is not read any more.
func (s *site) silence(sig *Signature, fibres []int, receiver int) {
	for _, i := range fibres {
		if f := &s.fibres[i]; f.receiver == receiver && s.carries(f) {
			mute := Effect{Signal: Silent, Fixed: sure}
			at := s.cellOf(Silent, f.from)
			if !slices.ContainsFunc(s.buffer, func(t touch) bool { return t.cell == at }) {
				s.touch(&mute, sig, f.from, 1, 1)
			}
		}
	}
}

func (s *site) touch(e *Effect, sig *Signature, index int, part, bend float64) {
	at := s.cellOf(e.Signal, index)
	if !s.cells[at].known {
		return
	}
	per := e.PerSize * bend
	if sig.Negative {
		per = -per
	}
	s.buffer = append(s.buffer, touch{at, e.Fixed, per, e.Spread, e.SpreadPerSize * bend, part})
}

// shown is a signature of a cause, for looking them up by their anchor.
type shown struct {
	cause *Cause
	sig   *Signature
}

// byAnchor holds the table by what a signature is about.
var byAnchor = func() (out [AtDip + 1][]shown) {
	for i := range causes {
		for j := range causes[i].Signatures {
			sig := &causes[i].Signatures[j]
			out[sig.Anchor] = append(out[sig.Anchor], shown{&causes[i], sig})
		}
	}
	return out
}()

// weigh fits every cause at every place where something is odd, and returns
// those that are worth more than nothing, the best first.
func (s *site) weigh() []hypothesis {
	var out []hypothesis
	var g ground
	s.markOdd()
	for anchor := range byAnchor {
		for at := range s.count(Anchor(anchor)) {
			if !s.ground(Anchor(anchor), at, &g) || !s.anyOddOn(&g) {
				continue
			}
			for _, c := range byAnchor[anchor] {
				if c.sig.Role != "" && c.sig.Anchor == AtUnit && string(s.units[at].Unit.Role) != c.sig.Role {
					continue
				}
				list, odd := s.touches(c.sig, &g)
				if !odd {
					continue
				}
				h := hypothesis{cause: c.cause, sig: c.sig, at: at}
				if s.rate(&h, list, &g); h.score > 0 {
					out = append(out, h)
				}
			}
		}
	}
	slices.SortStableFunc(out, func(a, b hypothesis) int { return cmp.Compare(b.score, a.score) })
	return out
}

// markOdd notes which receivers, lasers and units have a cell that asks for a
// cause.
func (s *site) markOdd() {
	clear(s.odd)
	for i := range s.cells {
		if s.cells[i].odd {
			s.odd[s.holder(i)] = true
		}
	}
}

// holder returns the number of the receiver, laser or unit that a cell is of.
func (s *site) holder(cell int) int {
	switch {
	case cell < s.atLaser:
		return cell / perReceiver
	case cell < s.atUnit:
		return len(s.receivers) + (cell-s.atLaser)/perLaser
	}
	return len(s.receivers) + len(s.lasers) + (cell-s.atUnit)/perUnit
}

// anyOddOn tells whether anything that a cause on the ground could touch asks
// for a cause.
func (s *site) anyOddOn(g *ground) bool {
	units := s.odd[len(s.receivers)+len(s.lasers):]
	for _, list := range [][]int{g.fibres, g.incoming} {
		for _, f := range list {
			if s.odd[s.fibres[f].receiver] || units[s.fibres[f].from] {
				return true
			}
		}
	}
	for _, l := range g.lasers {
		if s.odd[len(s.receivers)+l] {
			return true
		}
	}
	for _, u := range g.units {
		if units[u] || slices.ContainsFunc(s.through[u], func(w int) bool { return units[w] }) {
			return true
		}
	}
	return false
}

// rate fits a hypothesis and adds what is known without the vector.
func (s *site) rate(h *hypothesis, list []touch, g *ground) {
	shape := s.shapeGain(h.sig, list)
	h.fitted = s.fit(h.sig, list)
	h.gain += shape
	h.prior = math.Log(1e-4 * s.rateOf(h, list, g))
	h.score = h.gain + h.prior
}

// stay is how much more likely a finding is for having been the finding at
// the last evaluation: two causes that fit alike do not take turns.
const stay = 0.7

// rateOf returns the prior odds in ten thousand.
func (s *site) rateOf(h *hypothesis, list []touch, g *ground) float64 {
	rate := h.sig.Rate
	if h.sig.AfterJob > 0 && len(s.view.Works) > 0 {
		if touched, exchanged := s.afterWork(list, g); exchanged && h.cause.ID == "unit-exchanged" {
			rate = 100 * h.sig.AfterJob
		} else if touched {
			rate = h.sig.AfterJob
		}
	}
	for i := range s.view.Findings {
		if f := &s.view.Findings[i]; f.Cause == h.cause.ID && f.Resource == s.resource(h.sig.Anchor, h.at) {
			return rate * math.Exp(stay)
		}
	}
	return rate
}

// jobWindow is how long after work something that changes is put down to it.
const jobWindow = 24 * 3600e9

// afterWork tells whether people were at the place when, or shortly before,
// the deviations began.
func (s *site) afterWork(list []touch, g *ground) (touched, exchanged bool) {
	resources := s.resourcesOf(g)
	for i := range s.view.Works {
		w := &s.view.Works[i]
		when := s.view.Now
		for _, t := range list {
			if c := &s.cells[t.cell]; c.odd && !c.since.IsZero() && c.since.Before(when) {
				when = c.since
			}
		}
		if !w.Touches(when, jobWindow, resources...) && !w.Touches(when, jobWindow, "site/"+s.view.Site.ID) {
			continue
		}
		touched = true
		for _, u := range g.units {
			exchanged = exchanged || slices.Contains(w.Exchanged, s.units[u].Unit.ID)
		}
	}
	return touched, exchanged
}

// resourcesOf names what a ground consists of.
func (s *site) resourcesOf(g *ground) []string {
	var out []string
	for _, i := range g.fibres {
		f := &s.fibres[i]
		out = append(out, "link/"+f.link.ID, "unit/"+s.units[f.from].Unit.ID, "unit/"+s.units[f.to].Unit.ID)
		if f.path.Cable != "" {
			out = append(out, "cable/"+f.path.Cable)
		}
	}
	for _, u := range g.units {
		out = append(out, "unit/"+s.units[u].Unit.ID)
	}
	return out
}
