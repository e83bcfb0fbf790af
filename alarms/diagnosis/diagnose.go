package diagnosis

import (
	"math"
	"slices"

	"lightwell/alarms"
)

// MaxFindings is how many findings a site has at most.
const MaxFindings = 12

// least are the log odds that a cause must have against nothing.
const least = 1.0

// Diagnose returns what the deviations of a site have in common, in the order
// in which they were told apart: what explains most comes first.
func Diagnose(v *alarms.View) []alarms.Finding {
	s := look(v)
	if !s.anyOdd() {
		return nil
	}
	var out []alarms.Finding
	for range MaxFindings {
		all := s.weigh()
		if len(all) == 0 || all[0].score < least {
			break
		}
		rivals := s.rivals(all[:1], all)
		best := s.chooseWithNext(rivals, all)
		out = append(out, s.finding(&rivals[best], rivals))
		s.take(&rivals[best])
	}
	return out
}

func (s *site) anyOdd() bool {
	return slices.ContainsFunc(s.cells, func(c cell) bool { return c.odd })
}

// rivals returns the hypotheses that explain any of the signs that some do,
// those among them, in the order of all.
func (s *site) rivals(some, all []hypothesis) []hypothesis {
	signs := make([]bool, len(s.cells))
	for i := range some {
		for _, t := range s.touchesOf(&some[i]) {
			signs[t.cell] = signs[t.cell] || s.cells[t.cell].odd
		}
	}
	var out []hypothesis
	for i := range all {
		if slices.ContainsFunc(s.touchesOf(&all[i]), func(t touch) bool { return signs[t.cell] }) {
			out = append(out, all[i])
		}
	}
	return out
}

func (s *site) touchesOf(h *hypothesis) []touch {
	var g ground
	s.ground(h.sig.Anchor, h.at, &g)
	list, _ := s.touches(h.sig, &g)
	return list
}

// take makes what a hypothesis explains the new expectation.
func (s *site) take(h *hypothesis) { s.absorb(s.touchesOf(h), h.size) }

// heads is how many rivals are tried as the first of two.
const heads = 4

// chooseWithNext returns the rival that explains most together with the best
// second one for what it leaves. Where the best leaves nothing, it is the one.
func (s *site) chooseWithNext(rivals, all []hypothesis) int {
	first := rivals[:min(heads, len(rivals))]
	near := s.rivals(first, all) // all that could explain what one of them leaves of the others' signs
	saved := slices.Clone(s.cells)
	best, most := 0, math.Inf(-1)
	for i := range first {
		s.take(&rivals[i])
		next := s.bestNext(near, &rivals[i])
		copy(s.cells, saved)
		if total := rivals[i].score + next; total > most {
			best, most = i, total
		}
		if i == 0 && next == 0 {
			break
		}
	}
	return best
}

// bestNext returns the score of the best one for what is left; 0: nothing.
func (s *site) bestNext(near []hypothesis, taken *hypothesis) float64 {
	next := 0.0
	var g ground
	for j := range near {
		h := near[j]
		if h.sig == taken.sig && h.at == taken.at {
			continue
		}
		s.ground(h.sig.Anchor, h.at, &g)
		list, odd := s.touches(h.sig, &g)
		if !odd {
			continue
		}
		s.rate(&h, list, &g)
		next = max(next, h.score)
	}
	return next
}
