package brief

import (
	"slices"

	"lightwell/alarms/rules"
)

// A kit is what an alarm without a finding needs: what to measure first, and
// what to bring. Common practice in the trade.
type kit struct {
	measure string
	bring   []string
}

var (
	forFibre = []string{
		"optical power meter for 1310 and 1550 nm, with FC/APC adaptor", "video microscope with APC tip", "one-click cleaner, and wet and dry wipes",
		"dust caps", "spare FC/APC single-mode jumpers",
	}
	forBreak = []string{"visual fault locator", "OTDR with launch fibre", "fusion splicer and closure kit", "two-wavelength source"}
	forMains = []string{"multimeter", "mains tester", "fuses", "spare supply module"}
)

// kits are by type of alarm.
var kits = map[string]kit{
	rules.SignalDegraded:     {"Receive power at the plug with a meter, at 1310 and 1550 nm: 1550 clearly worse means a bend, both alike a joint or dirt.", slices.Concat(forFibre, []string{"two-wavelength source", "visual fault locator"})},
	rules.SignalLost:         {"Light at both plugs of the dark fibre with a meter; then the distance of the break with an OTDR.", slices.Concat(forFibre, forBreak)},
	rules.Drift:              {"Receive power at the plug with a meter, at 1310 and 1550 nm, and an OTDR trace to lay over that of commissioning.", slices.Concat(forFibre, []string{"OTDR with launch fibre", "two-wavelength source", "closure kit"})},
	rules.Intermittent:       {"Receive power while each plug and jumper is moved gently, one after the other.", slices.Concat(forFibre, []string{"visual fault locator"})},
	rules.ServiceMarginLow:   {"Receive power at the plug with a meter, and RF level at the output with an analyser.", slices.Concat(forFibre, []string{"two-wavelength source", "spectrum analyser"})},
	rules.LaserAgeing:        {"Laser bias and case temperature together, and transmit power at the unit's own plug.", []string{"spare unit", "optical power meter for 1310 and 1550 nm, with FC/APC adaptor", "one-click cleaner, and wet and dry wipes"}},
	rules.MainsLost:          {"Is there voltage at the feed of the rack? Ask for the site's power log before anything is switched.", forMains},
	rules.LaserFailed:        {"Transmit power at the unit's own plug with a meter.", slices.Concat(forFibre, []string{"spare unit", "optical attenuator"})},
	rules.SupplyFailed:       {"Voltage at the supply's input, before the module is changed.", forMains},
	rules.SupplyRedundancy:   {"Voltage at the input of the supply that has failed, before the module is changed.", forMains},
	rules.AntennaFeedFault:   {"Direct voltage and current at the antenna port, with the coax connected and with it taken off.", []string{"multimeter", "spare antenna or low-noise amplifier", "surge arrestor", "coax connectors and self-amalgamating tape"}},
	rules.RFLevelDeviation:   {"RF level at the input of the link and at its output, with an analyser.", []string{"spectrum analyser", "coax connectors and self-amalgamating tape", "RF attenuators"}},
	rules.TemperatureOutside: {"Temperature beside the unit with a thermometer; look at fans, filters and shade.", []string{"thermometer", "spare fan and filter"}},
	rules.UnitUnreachable:    {"Is the unit's lamp lit, and does its management port answer a laptop?", []string{"laptop with network cable", "spare network cable", "multimeter", "fuses"}},
	rules.CredentialsRefused: {"", []string{"laptop with network cable"}},
	rules.SensorBroken:       {"The same quantity with an instrument of your own.", []string{"spare unit"}},
	rules.WarmUpOverdue:      {"Case temperature, and current of the heater.", []string{"spare unit", "multimeter"}},
	rules.BaselineMissing:    {"", nil},
}
