package plant

import (
	"slices"
	"time"

	"lightwell/collector"
)

// noiseOf is the standard deviation of a single measurement, common practice:
// monitors repeat within a few hundredths of a decibel, level detectors
// within a tenth or two.
var noiseOf = map[collector.Quantity]float64{
	collector.OpticalReceivePower:  0.03,
	collector.OpticalTransmitPower: 0.02,
	collector.LaserBias:            0.03,
	collector.Temperature:          0.08,
	collector.SupplyVoltage:        0.015,
	collector.RFInputLevel:         0.12,
	collector.RFOutputLevel:        0.12,
	collector.RFNoiseFloor:         0.15,
	collector.LNACurrent:           0.25,
}

// reading returns what a unit measures at one of its points.
func (m *moment) reading(u *unitNow, pt *planned) (float64, collector.Quality) {
	point := pt.codec.Point
	if u.effects.broken != nil && u.effects.broken[point] {
		return 0, collector.Broken
	}
	v := m.measure(u, pt, pt.least)
	if v <= pt.least { // dark, or nothing there: no noise on it
		return pt.least, collector.Good
	}
	if u.effects.drift != nil {
		v += u.effects.drift[point]
	}
	if pt.noise > 0 && v != 0 {
		v += pt.noise * gauss(m.tick(pt.key))
	}
	return max(v, pt.least), collector.Good
}

// measure returns the value before noise. dark stands for no light.
func (m *moment) measure(u *unitNow, pt *planned, dark float64) float64 {
	q := pt.codec.Point.Quantity
	switch q {
	case collector.OpticalReceivePower:
		return monitored(m.arriving(u, pt.optic).detected, u.nature.optics[pt.optic].rxOffset, dark)
	case collector.OpticalTransmitPower:
		return monitored(m.laser(u, pt.optic).monitor, u.nature.optics[pt.optic].txOffset, dark)
	case collector.OpticalReceiveState:
		level, lit := m.arriving(u, pt.optic).detected.DBm()
		return state(q, collector.StateLost, !lit || level.Below(signalFloor) > 0, collector.StateGood)
	case collector.LaserBias:
		return m.laser(u, pt.optic).biasMA
	case collector.LaserState:
		return state(q, m.laser(u, pt.optic).state, true, "")
	case collector.Temperature:
		return u.caseC
	case collector.RFInputLevel:
		return m.radioIn(u).Float()
	case collector.RFOutputLevel:
		return m.radioOut(u, pt.optic).level.Float()
	case collector.RFNoiseFloor:
		return m.radioOut(u, pt.optic).floor.Float()
	case collector.AGCAttenuation:
		return float64(m.radioOut(u, pt.optic).agc)
	case collector.HeaterState:
		return state(q, u.heater, true, "")
	case collector.Uptime:
		return float64(m.uptime(u)%collector.UptimeWrap/(10*time.Millisecond)) / 100 // as sysUpTime counts
	default:
		return u.electrical(pt)
	}
}

// electrical returns supplies and antenna feed.
func (u *unitNow) electrical(pt *planned) float64 {
	q, e := pt.codec.Point.Quantity, &u.effects
	lost := pt.supply >= 0 && slices.Contains(e.lost, u.supplies[pt.supply])
	switch q {
	case collector.SupplyState:
		return state(q, collector.StateFailed, lost, collector.StateGood)
	case collector.SupplyVoltage:
		if lost {
			return 0
		}
		return u.nominalVolt() * (1 + 0.005*uniform(pt.key))
	case collector.AntennaFeedState:
		if e.feedShort {
			return state(q, collector.StateShort, true, "")
		}
		return state(q, collector.StateOpen, e.feedOpen, collector.StateGood)
	case collector.LNACurrent:
		switch {
		case e.feedShort:
			return 1.3 * u.shortCurrent()
		case e.feedOpen:
			return 0
		}
		return u.nature.lnaMA * (1 + e.lnaExtra)
	default:
		return 0
	}
}

// state returns the number of one state or, when it does not hold, another.
func state(q collector.Quantity, name string, holds bool, otherwise string) float64 {
	if !holds {
		name = otherwise
	}
	v, _ := q.StateValue(name)
	return v
}

// nominalVolt returns the middle of what the model allows, in volts.
func (u *unit) nominalVolt() float64 {
	l := u.info.Equipment.Limits
	if l.SupplyMinV == nil || l.SupplyMaxV == nil {
		return 24
	}
	return (*l.SupplyMinV + *l.SupplyMaxV) / 2
}

// shortCurrent returns from where on a feed counts as shorted, in milliamperes.
func (u *unit) shortCurrent() float64 {
	if l := u.info.Equipment.Limits.LNAShortAboveMA; l != nil {
		return *l
	}
	return 2 * u.feedCurrent()
}
