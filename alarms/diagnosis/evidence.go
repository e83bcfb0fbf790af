package diagnosis

import (
	"fmt"
	"math"

	"lightwell/alarms"
	"lightwell/collector"
)

// maxSigns is how many signs are told one by one.
const maxSigns = 6

// evidence says what speaks for a hypothesis: its signs, and the usual tests.
func (s *site) evidence(h *hypothesis, g *ground, signs []touch) []string {
	var out []string
	for i, t := range signs {
		if i == maxSigns {
			out = append(out, fmt.Sprintf("%d more signs like these", len(signs)-maxSigns))
			break
		}
		out = append(out, s.sign(&s.cells[t.cell]))
	}
	for _, text := range []string{s.transmitterTest(h, g), s.twoToOne(g, signs), s.commonCause(h, g), s.shapeTest(signs), s.temperatureTest(signs), s.workTest(signs, g)} {
		if text != "" {
			out = append(out, text)
		}
	}
	return out
}

// sign says what a cell shows.
func (s *site) sign(c *cell) string {
	u := named(s.units[c.unit].Unit)
	size := math.Abs(c.d)
	way := func(more, less string) string {
		if c.d > 0 {
			return more
		}
		return less
	}
	switch c.signal {
	case Received:
		return fmt.Sprintf("%s receives %.1f dB %s light than at its baseline", u, size, way("more", "less"))
	case Dark:
		return fmt.Sprintf("no light arrives at %s", u)
	case RadioOut:
		return fmt.Sprintf("RF out of %s is %.1f dB %s its baseline, gain control taken out", u, size, way("above", "below"))
	case Noise:
		return fmt.Sprintf("noise floor of %s is %.1f dB %s its baseline", u, size, way("above", "below"))
	case RadioUnsteady:
		return fmt.Sprintf("RF out of %s moves by %.1f dB from reading to reading", u, size)
	case Swing:
		return fmt.Sprintf("the light at %s swings by %.1f dB either way over the day", u, size)
	case Metered:
		return fmt.Sprintf("a power meter at the plug of %s read %.1f dB %s than it should", u, size, way("more", "less"))
	case Sent:
		return fmt.Sprintf("%s sends %.1f dB %s light than at its baseline", u, size, way("more", "less"))
	case Bias:
		return fmt.Sprintf("laser bias of %s is %.0f %% %s what its temperature explains", u, size, way("above", "below"))
	case BiasAtLimit:
		return fmt.Sprintf("the laser driver of %s is at its limit", u)
	case LaserDark:
		return fmt.Sprintf("%s sends no light", u)
	case Warming:
		return fmt.Sprintf("%s says that it warms up", u)
	case Silent:
		return fmt.Sprintf("%s cannot be read", u)
	case Restarted:
		return fmt.Sprintf("the agent of %s started anew at %s", u, s.units[c.unit].StartedAt.UTC().Format("15:04:05 UTC"))
	case SupplyFailed:
		return fmt.Sprintf("%s says that a supply failed", u)
	case RadioIn:
		return fmt.Sprintf("RF into %s is %.1f dB %s its baseline", u, size, way("above", "below"))
	case InputUnsteady:
		return fmt.Sprintf("RF into %s moves by %.1f dB from reading to reading", u, size)
	case FeedOpen:
		return fmt.Sprintf("%s says that its antenna feed is open", u)
	case FeedShort:
		return fmt.Sprintf("%s says that its antenna feed is shorted", u)
	case FeedCurrent:
		return fmt.Sprintf("antenna feed current of %s is %.0f %% %s its baseline", u, size, way("above", "below"))
	default:
		return fmt.Sprintf("the case of %s is too cold for a start", u)
	}
}

// transmitterTest: transmitter or path (test T1). The same fall at both ends
// is the transmitter's; one that only the far end sees is not.
func (s *site) transmitterTest(h *hypothesis, g *ground) string {
	if h.sig.Anchor != AtFibre {
		return ""
	}
	sent := &s.cells[s.cellOf(Sent, s.fibres[g.fibres[0]].laser)]
	got := &s.cells[s.cellOf(Received, s.fibres[g.fibres[0]].receiver)]
	switch {
	case !sent.known || sent.odd || !got.odd:
		return ""
	default:
		return fmt.Sprintf("the transmitter gives what it gave (%+.1f dB): the loss is on the way or at the receiver", sent.d)
	}
}

// twoToOne: RF power goes with the square of the light (Federal Standard
// 1037C, "transfer function"), so a ratio of 1.6 to 2.4 is a real optical loss
// and one below 0.5 a monitor (test T2).
func (s *site) twoToOne(g *ground, signs []touch) string {
	for _, i := range g.fibres {
		r := s.fibres[i].receiver
		got, rf := &s.cells[s.cellOf(Received, r)], &s.cells[s.cellOf(RadioOut, r)]
		if !got.odd || !rf.known {
			continue
		}
		q := rf.d / got.d
		switch se := math.Hypot(rf.sd, q*got.sd) / math.Abs(got.d); {
		case se > 0.4:
			return fmt.Sprintf("RF moved %.1f dB for %.1f dB of light: too little to tell a real loss from a monitor by", rf.d, got.d)
		case q >= 1.6-se && q <= 2.4+se:
			return fmt.Sprintf("RF moved %.1f dB for %.1f dB of light, %.1f to one: a real optical loss", rf.d, got.d, q)
		case q < 0.5:
			return fmt.Sprintf("RF moved %.1f dB for %.1f dB of light: the light did not really move", rf.d, got.d)
		default:
			return fmt.Sprintf("RF moved %.1f dB for %.1f dB of light, %.1f to one: not the light alone", rf.d, got.d, q)
		}
	}
	return ""
}

// commonCause: what else shares the cable (test T3).
func (s *site) commonCause(h *hypothesis, g *ground) string {
	if h.sig.Anchor > AtCable {
		return ""
	}
	name := s.fibres[g.fibres[0]].path.Cable
	var struck, sound, all int
	for i := range s.fibres {
		if s.fibres[i].path.Cable != name || name == "" {
			continue
		}
		all++
		r := s.fibres[i].receiver
		switch got, dark := &s.cells[s.cellOf(Received, r)], &s.cells[s.cellOf(Dark, r)]; {
		case got.odd || dark.odd:
			struck++
		case got.known || dark.known:
			sound++
		}
	}
	switch {
	case all < 2:
		return ""
	case sound == 0:
		return fmt.Sprintf("all fibres of cable %s that can be read are struck (%d of %d)", name, struck, all)
	default:
		return fmt.Sprintf("%d other fibres of cable %s are as they were", sound, name)
	}
}

// shapeTest: how it came about (test T4).
func (s *site) shapeTest(signs []touch) string {
	for _, t := range signs {
		switch c := &s.cells[t.cell]; c.shape {
		case alarms.ShapeStep:
			return "it came between two polls"
		case alarms.ShapeRamp:
			return "it came little by little"
		case alarms.ShapeComes:
			return "it comes and goes"
		}
	}
	return ""
}

// temperatureTest: which temperature explains a swing (test T5). Two courses
// over the day belong together when their greatest values, or the greatest of
// one and the least of the other, fall on the same hour.
func (s *site) temperatureTest(signs []touch) string {
	for _, t := range signs {
		c := &s.cells[t.cell]
		if c.signal != Swing {
			continue
		}
		swing := s.units[c.unit].Points[c.point].Daily
		receiver := &s.receivers[t.cell/perReceiver]
		f := &s.fibres[receiver.fibres[0]]
		best, follows := 0.8, ""
		for _, u := range []int{f.from, f.to} {
			pv := s.units[u].Points[collector.Point{Quantity: collector.Temperature}]
			if pv.Daily == nil || swing == nil || pv.Daily.Amplitude < 0.3 {
				continue
			}
			if together := math.Abs(math.Cos(pv.Daily.Phase - swing.Phase)); together > best {
				best, follows = together, named(s.units[u].Unit)
			}
		}
		if follows != "" {
			return fmt.Sprintf("it follows the case temperature of %s over the day", follows)
		}
	}
	return ""
}

// workTest: whether people were there.
func (s *site) workTest(signs []touch, g *ground) string {
	touched, exchanged := s.afterWork(signs, g)
	switch {
	case exchanged:
		return "a unit was exchanged there shortly before"
	case touched:
		return "work was done there shortly before"
	}
	return ""
}
