// Package plan works out what a link should be: the loss of each fibre with
// its spread, the light and the radio signal that arrive, and at which optical
// loss the service fails.
//
// It is pure, and the only place where fleet, equipment models and the sums of
// package budget meet, so that the planning tool, the acceptance of a baseline
// and the margin in service all mean the same plan. What the files do not
// tell stays unknown: nothing is made up for it.
package plan

import (
	"cmp"
	"math"

	"lightwell/collector"
	"lightwell/collector/budget"
)

// A Link is the plan of a link.
type Link struct {
	ID         string
	Directions [2]Direction // downlink, uplink
}

// A Direction is the plan of one fibre of a link.
type Direction struct {
	collector.Fibre
	Run       budget.Run
	Split     budget.DB // of splitter and combiner where links share a port
	Transmits collector.Optics
	Receives  collector.Optics
	Limits    collector.Limits // of the receiving unit
	Noise     budget.LinkNoise // zero: not known
	Service   *budget.Service  // what the downlink must be good for; nil: not known
}

// Of returns the plan of a link of a fleet.
func Of(f *collector.Fleet, l collector.Link) Link {
	out := Link{ID: l.ID}
	for i, fibre := range f.Fibres(l) {
		from, _ := f.Unit(fibre.From.Unit)
		to, _ := f.Unit(fibre.To.Unit)
		cable, _ := f.Cable(fibre.Path.Cable)
		out.Directions[i] = New(fibre, cable.LengthM, from.Equipment, to.Equipment, nil)
	}
	out.Directions[0].Service = service(l.RF)
	return out
}

// New returns the plan of one fibre between two kinds of equipment. rf is nil
// where nothing is known of the radio signal.
func New(fibre collector.Fibre, lengthM float64, from, to collector.Equipment, rf *collector.RF) Direction {
	p := fibre.Path
	d := Direction{
		Fibre:     fibre,
		Run:       budget.Typical(lengthM/1000, p.Connectors, p.Splices, cmp.Or(p.WavelengthNM, 1310)),
		Split:     budget.SplitLoss(fibre.From.Links) + budget.SplitLoss(fibre.To.Links),
		Transmits: from.Optics, Receives: to.Optics, Limits: to.Limits,
		Service: service(rf),
	}
	if points := noisePoints(from.Optics.Noise); len(points) > 0 {
		d.Noise, _ = budget.NewLinkNoise(points) // models are checked when they are read
	}
	return d
}

func service(rf *collector.RF) *budget.Service {
	if rf == nil {
		return nil
	}
	return &budget.Service{
		Front:   budget.Front{Gain: budget.DB(rf.GainBeforeLaserDB), NoiseFigure: budget.DB(rf.NoiseFigureBeforeLaserDB), AntennaK: rf.AntennaNoiseK},
		Carrier: budget.FromDBW(rf.CarrierDBW), CN0Min: budget.DB(rf.CN0MinDBHz),
	}
}

func noisePoints(given []collector.NoisePoint) []budget.NoisePoint {
	var out []budget.NoisePoint
	for _, p := range given {
		out = append(out, budget.NoisePoint{Loss: budget.DB(p.LossDB), NoiseFigure: budget.DB(p.NoiseFigureDB)})
	}
	return out
}

// Mean returns the expected loss between the two units.
func (d *Direction) Mean() budget.DB { return d.Run.Loss() + d.Split }

// Most returns the loss that a sound fibre stays below: mean and three
// standard deviations.
func (d *Direction) Most() budget.DB { return d.Run.Planned() + d.Split }

// Worst returns the loss with every part at its limit (outside plant).
func (d *Direction) Worst() budget.DB { return d.Run.Worst(false).Loss() + d.Split }

// Receive is the light that a plan expects at the receiver.
type Receive struct {
	Mean  budget.DBm
	SD    budget.DB  // of fibre and transmitter together
	Low   budget.DBm // mean less three standard deviations
	Worst budget.DBm // every part at its limit and the transmitter low
}

// Receive returns the expected light; ok is false while the transmit power is
// not known.
func (d *Direction) Receive() (r Receive, ok bool) {
	if d.Transmits.TransmitPowerDBm == nil {
		return Receive{}, false
	}
	sent := budget.Level(*d.Transmits.TransmitPowerDBm)
	spread := d.Transmits.TransmitSpreadDB
	r = Receive{Mean: sent.Minus(d.Mean()), SD: budget.DB(math.Hypot(float64(d.Run.SD()), spread))}
	r.Low = r.Mean.Minus(3 * r.SD)
	r.Worst = sent.Minus(d.Worst() + budget.DB(3*spread))
	return r, true
}

// Gain returns the RF gain at an optical loss; ok is false while it is not
// known.
func (d *Direction) Gain(loss budget.DB) (budget.DB, bool) {
	if d.Transmits.GainDB == nil {
		return 0, false
	}
	return budget.DB(*d.Transmits.GainDB) - budget.RFChange(loss), true
}

// Radio tells whether C/N0 can be worked out.
func (d *Direction) Radio() bool { return d.Service != nil && d.Noise.Known() }
