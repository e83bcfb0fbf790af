package main

import (
	"errors"
	"fmt"
	"strings"

	"lightwell/collector"
	"lightwell/collector/document"
	"lightwell/collector/model"
	"lightwell/collector/plan"
)

// A number is a flag of a fibre with the range it makes sense in.
type number struct {
	name       string
	value      *float64
	least, top float64
	whole      bool
}

func (c *budgetCmd) numbers() []number {
	return []number{
		{"--length-m", c.LengthM, 0, 200_000, false},
		{"--connectors", c.Connectors, 0, 1000, true},
		{"--splices", c.Splices, 0, 1000, true},
		{"--wavelength-nm", c.WavelengthNM, 800, 1700, false},
		{"--ways", c.Ways, 1, 64, true},
		{"--transmit-power-dbm", c.TransmitPowerDBm, -45, 15, false},
		{"--receive-power-min-dbm", c.ReceivePowerMinDBm, -45, 15, false},
		{"--receive-power-max-dbm", c.ReceivePowerMaxDBm, -45, 15, false},
		{"--gain-db", c.GainDB, -100, 100, false},
		{"--agc-reserve-db", c.AGCReserveDB, 0, 80, false},
		{"--gain-before-laser-db", c.GainBeforeLaserDB, -100, 150, false},
		{"--noise-figure-before-laser-db", c.NoiseFigureBeforeLaserDB, 0, 100, false},
		{"--antenna-noise-k", c.AntennaNoiseK, 1, 100_000, false},
		{"--carrier-dbw", c.CarrierDBW, -300, 0, false},
		{"--cn0-min-dbhz", c.CN0MinDBHz, 0, 150, false},
	}
}

// given names the flags of a fibre that were given.
func (c *budgetCmd) given() []string {
	var out []string
	for _, f := range []struct{ name, value string }{
		{"--transmitter", c.Transmitter}, {"--receiver", c.Receiver}, {"--noise", strings.Join(c.Noise, ",")},
	} {
		if f.value != "" {
			out = append(out, f.name)
		}
	}
	for _, n := range c.numbers() {
		if n.value != nil {
			out = append(out, n.name)
		}
	}
	return out
}

// fibre makes a direction of flags; the error names every flag that is wrong.
func (c *budgetCmd) fibre() (plan.Direction, error) {
	var faults []error
	for _, n := range c.numbers() {
		switch v := n.value; {
		case v == nil:
		case !(*v >= n.least && *v <= n.top):
			faults = append(faults, fmt.Errorf("%s %g is outside %g to %g", n.name, *v, n.least, n.top))
		case n.whole && *v != float64(int(*v)):
			faults = append(faults, fmt.Errorf("%s %g: write a whole number", n.name, *v))
		}
	}
	if c.LengthM == nil {
		faults = append(faults, errors.New("--length-m is missing: give the length of the fibre, or a link with --fleet"))
	}
	if low, high := c.ReceivePowerMinDBm, c.ReceivePowerMaxDBm; low != nil && high != nil && *low >= *high {
		faults = append(faults, fmt.Errorf("--receive-power-min-dbm %g is not below --receive-power-max-dbm %g", *low, *high))
	}
	noise, err := c.noise()
	faults = append(faults, err)
	rf, err := c.radio()
	faults = append(faults, err)
	from, to, err := c.equipment()
	if err := errors.Join(append(faults, err)...); err != nil {
		return plan.Direction{}, err
	}
	replace(&from.Optics.TransmitPowerDBm, c.TransmitPowerDBm)
	replace(&from.Optics.GainDB, c.GainDB)
	replace(&to.Limits.ReceivePowerMinDBm, c.ReceivePowerMinDBm)
	replace(&to.Limits.ReceivePowerMaxDBm, c.ReceivePowerMaxDBm)
	replace(&to.Optics.AGCReserveDB, c.AGCReserveDB)
	if noise != nil {
		from.Optics.Noise = noise
	}
	port := func(unit string) collector.Port { return collector.Port{Unit: unit, Links: 1} }
	f := collector.Fibre{Name: "fibre", From: port(c.Transmitter), To: port(c.Receiver), Path: collector.Path{
		WavelengthNM: or(c.WavelengthNM, 1310), Connectors: int(or(c.Connectors, 0)), Splices: int(or(c.Splices, 0)),
	}}
	f.From.Links = int(or(c.Ways, 1))
	return plan.New(f, *c.LengthM, from, to, rf), nil
}

// radio is what stands before the laser: all of it, or nothing.
func (c *budgetCmd) radio() (*collector.RF, error) {
	var missing []string
	some := c.AntennaNoiseK != nil
	for _, n := range c.numbers() {
		switch n.name {
		case "--gain-before-laser-db", "--noise-figure-before-laser-db", "--carrier-dbw", "--cn0-min-dbhz":
			if some = some || n.value != nil; n.value == nil {
				missing = append(missing, n.name)
			}
		}
	}
	switch {
	case !some:
		return nil, nil
	case len(missing) > 0:
		return nil, fmt.Errorf("C/N0 needs %s too", strings.Join(missing, ", "))
	}
	return &collector.RF{GainBeforeLaserDB: *c.GainBeforeLaserDB, NoiseFigureBeforeLaserDB: *c.NoiseFigureBeforeLaserDB,
		AntennaNoiseK: or(c.AntennaNoiseK, openSkyK), CarrierDBW: *c.CarrierDBW, CN0MinDBHz: *c.CN0MinDBHz}, nil
}

// openSkyK is the noise temperature of an antenna under an open sky (a GNSS
// receiver manual, 2.4.2).
const openSkyK = 130

// equipment finds the models of both ends; without one nothing is known.
func (c *budgetCmd) equipment() (from, to collector.Equipment, err error) {
	models, err := c.models()
	if err != nil {
		return from, to, err
	}
	find := func(flag, name string) (collector.Equipment, error) {
		if name == "" {
			return collector.Equipment{Optics: collector.Optics{TransmitSpreadDB: model.DefaultTransmitSpreadDB, MonitorErrorDB: model.DefaultMonitorErrorDB}}, nil
		}
		m, ok := models.Model(name)
		if !ok {
			return collector.Equipment{}, fmt.Errorf("%s: there is no model %q; %s", flag, name, document.Nearest(name, models.Names()))
		}
		return m.Equipment, nil
	}
	from, err = find("--transmitter", c.Transmitter)
	to, err2 := find("--receiver", c.Receiver)
	return from, to, errors.Join(err, err2)
}

func replace(into **float64, v *float64) {
	if v != nil {
		*into = v
	}
}

func or(v *float64, otherwise float64) float64 {
	if v == nil {
		return otherwise
	}
	return *v
}
