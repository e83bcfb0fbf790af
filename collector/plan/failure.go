package plan

import (
	"math"

	"lightwell/collector/budget"
)

// A Cause is what ends a service when the optical loss grows.
type Cause string

// Causes.
const (
	ByNoise    Cause = "C/N0"           // has fallen to the least that the service works with
	ByControl  Cause = "gain control"   // has no gain left: the level falls 2 dB for each optical decibel
	ByReceiver Cause = "receiver light" // is less than the receiver's limit
	Unlimited  Cause = ""               // nothing is known that would end it
)

// A Failure is the optical loss at which the service ends, and why.
type Failure struct {
	Loss budget.Range // in dB; +Inf: never; -Inf: it does not work at all
	By   Cause
}

// Bounded tells whether anything is known to end the service.
func (f Failure) Bounded() bool { return f.By != Unlimited }

// tighten takes a further limit into account: the least of both holds.
func (f *Failure) tighten(loss budget.Range, by Cause) {
	if loss.Middle < f.Loss.Middle {
		f.By = by
	}
	f.Loss = budget.Range{Low: min(f.Loss.Low, loss.Low), Middle: min(f.Loss.Middle, loss.Middle), High: min(f.Loss.High, loss.High)}
}

func exactly(loss budget.DB) budget.Range {
	return budget.Range{Low: float64(loss), Middle: float64(loss), High: float64(loss)}
}

// A State is where a direction stands that is to be judged: at commissioning
// by the plan, in service by what its units say. NaN: there is no such limit.
type State struct {
	ControlEnds  budget.DB // optical loss at which gain control has used up its reserve
	ReceiverEnds budget.DB // optical loss at which the receiver gets the least light it works with
}

var none = budget.DB(math.NaN())

// Planned returns the state of a direction built as planned: set up at the
// mean loss, with a nominal transmitter.
func (d *Direction) Planned() State {
	s := State{none, none}
	if reserve := d.Receives.AGCReserveDB; reserve != nil {
		s.ControlEnds = d.Mean() + budget.AGCHolds(budget.DB(*reserve))
	}
	if sent, least := d.Transmits.TransmitPowerDBm, d.Limits.ReceivePowerMinDBm; sent != nil && least != nil {
		s.ReceiverEnds = budget.Level(*sent).Above(budget.Level(*least))
	}
	return s
}

// Fails returns at which optical loss the service of the direction ends: the
// least of three, C/N0 at its minimum and the two limits of the state.
func (d *Direction) Fails(s State) Failure {
	f := Failure{Loss: exactly(budget.DB(math.Inf(1)))}
	if d.Radio() {
		f.tighten(d.Service.Fails(d.Noise), ByNoise)
	}
	if !math.IsNaN(float64(s.ControlEnds)) {
		f.tighten(exactly(s.ControlEnds), ByControl)
	}
	if !math.IsNaN(float64(s.ReceiverEnds)) {
		f.tighten(exactly(s.ReceiverEnds), ByReceiver)
	}
	return f
}

// Bears returns what a direction built as planned can lose until its service
// ends, in optical dB, at the least; ok is false where no end is known, or
// where it does not work at all.
func (d *Direction) Bears() (loss budget.DB, by Cause, ok bool) {
	f := d.Fails(d.Planned())
	loss = budget.DB(f.Loss.Low) - d.Mean()
	return loss, f.By, loss > 0 && !math.IsInf(float64(loss), 0)
}

// TooBright tells whether the receiver may get more light than it bears, and
// how much attenuation brings it three standard deviations below that.
func (d *Direction) TooBright() (attenuate budget.DB, yes bool) {
	r, ok := d.Receive()
	if !ok || d.Limits.ReceivePowerMaxDBm == nil {
		return 0, false
	}
	over := r.Mean.Plus(3 * r.SD).Above(budget.Level(*d.Limits.ReceivePowerMaxDBm))
	return over, over > 0
}
