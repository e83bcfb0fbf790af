package view

import (
	"math"

	"lightwell/alarms"
	"lightwell/alarms/margin"
	"lightwell/collector"
)

// Margin is what a link has left before its service fails, in the direction
// that fails first.
type Margin struct {
	Direction string   `json:"direction" doc:"downlink or uplink."`
	LostDB    float64  `json:"lost_db" doc:"Optical loss since commissioning; negative: gained."`
	LeftDB    float64  `json:"left_db" doc:"Optical loss until the service fails; not above 0: it has."`
	LeftLow   float64  `json:"left_low_db" doc:"The least it may be; differs from left_db where the noise is known at one loss only."`
	LeftHigh  *float64 `json:"left_high_db,omitempty" doc:"The most it may be; missing where no end is known."`
	Until     string   `json:"until" doc:"What ends the service: C/N0, gain control or receiver light."`
	CN0       *float64 `json:"cn0_dbhz,omitempty" doc:"Of the downlink, by its plan."`
	CN0Low    *float64 `json:"cn0_low_dbhz,omitempty"`
	CN0Lost   *float64 `json:"cn0_lost_db,omitempty" doc:"Since commissioning."`
	CN0Min    *float64 `json:"cn0_min_dbhz,omitempty" doc:"Lowest that the service works with."`
	Sentence  string   `json:"sentence" doc:"For people."`
}

// margin returns what a link has left; nil: not known.
func (b *Board) margin(l collector.Link) *Margin {
	m, ok := margin.Link(b.Fleet, func(id string) *alarms.UnitView { return b.units[id] }, l)
	if !ok {
		return nil
	}
	out := &Margin{
		Direction: m.Direction, LostDB: hundredths(m.Lost), LeftDB: hundredths(m.LeftDB), LeftLow: hundredths(m.LeftLow),
		Until: string(m.By), Sentence: m.Sentence(),
	}
	out.LeftHigh = finite(m.LeftHigh)
	if m.Service {
		out.CN0, out.CN0Low, out.CN0Lost, out.CN0Min = finite(m.CN0.Middle), finite(m.CN0.Low), finite(m.CN0Lost.Middle), finite(m.CN0Min)
	}
	return out
}

func hundredths(v float64) float64 { return math.Round(v*100) / 100 }

// finite returns a number that JSON can say; nil: it has no end.
func finite(v float64) *float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return nil
	}
	v = hundredths(v)
	return &v
}

// MarginOf returns what the link of that id has left; nil: not known.
func (b *Board) MarginOf(id string) *Margin {
	l, ok := b.Fleet.Link(id)
	if !ok {
		return nil
	}
	return b.margin(l)
}
