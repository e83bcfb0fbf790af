package margin

import (
	"fmt"
	"math"
	"strings"

	"lightwell/alarms/baseline"
	"lightwell/collector"
	"lightwell/collector/budget"
	"lightwell/collector/plan"
)

// A Verdict is how a direction compares with its plan.
type Verdict string

// Verdicts.
const (
	AsPlanned Verdict = "as planned"    // at most mean and three standard deviations
	Doubtful  Verdict = "doubtful"      // more, but within what the monitors may be off: a meter decides
	TooMuch   Verdict = "too much loss" // more than plan and monitors can explain
	TooLittle Verdict = "too little loss"
	Dark      Verdict = "dark"
	Unknown   Verdict = "not known" // nothing measured, or a receiver that several fibres share
)

// An Acceptance compares one direction of a link, as measured, with its plan.
// Losses are in optical dB.
type Acceptance struct {
	Link      string
	Direction string // downlink or uplink
	From, To  string // units
	Mean, SD  float64
	Most      float64 // mean + 3 sd: what a sound fibre stays below
	Measured  float64 // transmit power less receive power; 0 unless Known
	Known     bool
	Assumed   bool    // transmit power is the model's, because its unit has not been captured
	Band      float64 // what the monitors, or the assumption, may be off
	Verdict   Verdict
}

// Excess returns by how much the measured loss exceeds the mean of the plan.
func (a Acceptance) Excess() float64 { return a.Measured - a.Mean }

// Accept compares both directions of a link with its plan.
//
// Each power monitor may be off by several decibels (SFF-8472 allows 3 dB
// each), so a measured loss is only doubtful while the errors that the models
// state for both monitors could explain it together; beyond them it is wrong.
func Accept(f *collector.Fleet, link collector.Link, levels baseline.Levels) [2]Acceptance {
	p := plan.Of(f, link)
	var out [2]Acceptance
	for i := range p.Directions {
		out[i] = accept(&p.Directions[i], levels)
		out[i].Link = link.ID
	}
	return out
}

func accept(d *plan.Direction, levels baseline.Levels) Acceptance {
	a := Acceptance{
		Direction: d.Name, From: d.From.Unit, To: d.To.Unit, Verdict: Unknown,
		Mean: float64(d.Mean()), SD: float64(d.Run.SD()), Most: float64(d.Most()), Band: d.Receives.MonitorErrorDB,
	}
	received, ok := levels(d.To.Unit, d.Receiver())
	switch {
	case !ok || d.To.Links > 1:
		return a
	case baseline.Dark(collector.OpticalReceivePower, received.Value):
		a.Verdict = Dark
		return a
	}
	var sent float64
	switch level, known := levels(d.From.Unit, d.Transmitter()); {
	case known && !baseline.Dark(collector.OpticalTransmitPower, level.Value):
		sent = level.Value
		a.Band += d.Transmits.MonitorErrorDB
	case !known && d.Transmits.TransmitPowerDBm != nil:
		sent, a.Assumed = *d.Transmits.TransmitPowerDBm, true
		a.Band += 3 * d.Transmits.TransmitSpreadDB
	default:
		return a
	}
	a.Known, a.Measured = true, sent-received.Value
	switch {
	case a.Measured > a.Most+a.Band:
		a.Verdict = TooMuch
	case a.Measured > a.Most:
		a.Verdict = Doubtful
	case a.Measured < a.Mean-3*a.SD-a.Band:
		a.Verdict = TooLittle
	default:
		a.Verdict = AsPlanned
	}
	return a
}

// Check is the baseline.PlanCheck: what the light that arrives at a unit says
// of the fibres that end there.
func Check(f *collector.Fleet, unit string, levels baseline.Levels) []baseline.Remark {
	var out []baseline.Remark
	for _, l := range f.LinksOf(unit) {
		both := Accept(f, l, levels)
		if text := crossed(f, l, unit, both, levels); text != "" {
			out = append(out, baseline.Remark{Grave: true, Text: text})
			continue
		}
		for i, a := range both {
			if a.To != unit {
				continue
			}
			if text := a.text(both[1-i]); text != "" {
				out = append(out, baseline.Remark{Text: text, Grave: a.Verdict == TooMuch})
			}
		}
	}
	return out
}

// care is the caution of every text that sends a person to a fibre.
const care = "Treat every fibre as live and never look into it; local codes and licensed persons decide."

// crossed says that a dark pair may be swapped; "" when nothing points to it.
// A unit read over the dark fibre cannot be asked what it sends and gets.
func crossed(f *collector.Fleet, l collector.Link, unit string, both [2]Acceptance, levels baseline.Levels) string {
	var ends [2]budget.End
	var known [2]bool
	for i, fibre := range f.Fibres(l) {
		sent, ok := levels(fibre.From.Unit, fibre.Transmitter())
		ends[i].Transmits, known[i] = ok && !baseline.Dark(collector.OpticalTransmitPower, sent.Value), ok
		ends[1-i].Receives = both[i].Verdict != Dark
	}
	outdoor, _ := f.Unit(l.Outdoor)
	switch {
	case budget.CrossedPair(ends[0], ends[1], true): // commissioning is work at the plugs
		return fmt.Sprintf("link %s: both ends transmit and neither receives: very likely the pair is crossed, transmitter to transmitter; swap the two plugs at one end only, then look whether light arrives. %s", l.ID, care)
	case unit == l.Indoor && both[0].Verdict == Dark && ends[1].Transmits && !known[0] && outdoor.Via == unit:
		return fmt.Sprintf("link %s: %s gets no light, and %s, which is read over that fibre, cannot be asked: possibly the pair is crossed, transmitter to transmitter, or the fibre is open, or the roof unit has no power; see that it has power, then swap the two plugs at one end only: when light arrives, the pair was crossed. %s", l.ID, unit, outdoor.ID, care)
	}
	return ""
}

// text says a verdict that needs a person; "" for the others. other is the
// other direction of the link.
func (a Acceptance) text(other Acceptance) string {
	var b strings.Builder
	switch a.Verdict {
	case TooMuch:
		fmt.Fprintf(&b, "%s of link %s, from %s to %s, loses %.1f dB: %.1f dB more than the plan allows (%.1f dB, mean %.1f + 3 sd), of which the power monitors may be wrong by %.1f dB",
			a.Direction, a.Link, a.From, a.To, a.Measured, a.Measured-a.Most, a.Most, a.Mean, a.Band)
		fmt.Fprintf(&b, "; %s. %s", a.reason(other), care)
	case Doubtful:
		fmt.Fprintf(&b, "%s of link %s, from %s to %s, loses %.1f dB: %.1f dB more than the plan allows (%.1f dB, mean %.1f + 3 sd), which the power monitors alone may explain, being wrong by up to %.1f dB: measure with a power meter at the receiver's plug. %s",
			a.Direction, a.Link, a.From, a.To, a.Measured, a.Measured-a.Most, a.Most, a.Mean, a.Band, care)
	case TooLittle:
		fmt.Fprintf(&b, "%s of link %s, from %s to %s, loses %.1f dB, less than such a fibre can (mean %.1f dB): a monitor is wrong by more than %.1f dB, or length, connectors and splices in the fleet file are not those of the fibre",
			a.Direction, a.Link, a.From, a.To, a.Measured, a.Mean, a.Band)
	}
	if b.Len() > 0 && a.Assumed {
		b.WriteString(" The transmit power is that of the model; capture the far unit too.")
	}
	return b.String()
}

// Sizes by which a cause is told, in dB above the mean of the plan.
const (
	polishDB = 3   // a flat plug in an angled adaptor loses 3 to 10 dB
	openDB   = 10  // more is hardly connected
	alikeDB  = 1.0 // two directions that differ by less, or by what the monitors may be off, have one cause
)

// reason names the likely cause: what the usual signatures of faults after
// work at a fibre say of the size of the loss and of the other direction.
func (a Acceptance) reason(other Acceptance) string {
	if other.Verdict == TooMuch && math.Abs(a.Excess()-other.Excess()) <= max(alikeDB, a.Band) {
		return "both directions alike: likely the wrong fibre or wrong jumpers on both (multimode, flat polish), else a bend or a squeezed cable; compare the print and the colour of the jumpers, then walk the route"
	}
	switch excess := a.Excess(); {
	case excess > openDB:
		return "likely a plug that is not seated, or a broken fibre; re-seat it at both ends, keys aligned"
	case excess >= polishDB:
		return "likely a flat (PC) plug in an angled (APC) adaptor or a multimode jumper, else a dirty connector; check colour and print of the jumpers, inspect and clean both faces"
	}
	return "likely a dirty or loose connector; inspect, clean and re-seat both ends, keys aligned"
}
