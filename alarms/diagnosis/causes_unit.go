package diagnosis

import (
	"lightwell/alarms"
	"lightwell/alarms/caution"
)

// unitCauses strike lasers, receivers, supplies and agents.
var unitCauses = []Cause{
	{
		ID: "laser-ageing", Row: 6, Title: "Laser that ages", Unit: "% of bias", Surest: alarms.Likely,
		Signatures: []Signature{{Anchor: AtLaser, Rate: 5, Min: 6, Max: 400, Shapes: ramps, Effects: []Effect{
			{Signal: Bias, PerSize: 1, SpreadPerSize: 0.02},
			// of the extra current a part is lost slope, and RF goes with its square
			{Signal: RadioOut, PerSize: -0.02, SpreadPerSize: 0.015}, {Signal: Noise, SpreadPerSize: 0.1},
		}}},
		Actions:  []string{"Check the cooling of the unit.", "Plan to exchange the laser module or the unit."},
		Bring:    []string{"spare unit or laser module", "power meter", "attenuator"},
		Disproof: "bias comes back to its model with the case temperature",
		Deciding: "bias against its temperature model over a month",
		Cautions: caution.Source, Basis: "under power control bias climbs while the light stays; +10 % watch, +20 % plan, +50 % end of life (after Telcordia GR-468)",
	},
	{
		ID: "laser-failed", Row: 7, Title: "Laser or driver failed", Unit: "dB", Surest: alarms.VeryLikely,
		Signatures: []Signature{
			{Anchor: AtLaser, Rate: 2, Effects: []Effect{
				{Signal: LaserDark, Fixed: sure}, {Signal: Dark, Fixed: sure, Thins: true}, {Signal: Metered, Fixed: -30, Spread: 6},
				{Signal: Bias, Spread: 150}, {Signal: BiasAtLimit, Fixed: 0.5}, {Signal: Sent, Spread: 30},
			}},
			{Anchor: AtLaser, Rate: 1, Min: 2, Max: 40, Shapes: steps, Effects: []Effect{
				{Signal: Sent, PerSize: -1, SpreadPerSize: 0.02}, lossEffects[0], lossEffects[1], lossEffects[2], lossEffects[3],
				{Signal: BiasAtLimit, Fixed: 0.8}, {Signal: Bias, Spread: 150},
			}},
		},
		Actions:  []string{"See whether the laser was switched off on purpose.", "Confirm with a power meter at the transmit port, then exchange."},
		Bring:    []string{"spare unit or laser module", "power meter", "attenuator"},
		Disproof: "a power meter at the transmit port shows the usual light",
		Deciding: "a power meter at the transmit port",
		Cautions: caution.Source, Basis: "transmit and receive power fall together; bias at its limit or zero",
	},
	{
		ID: "receiver-failed", Row: 8, Title: "Photodiode or receiver failed", Unit: "dB", Surest: alarms.Likely,
		Signatures: []Signature{
			{Anchor: AtReceiver, Rate: 1, Effects: []Effect{{Signal: Dark, Fixed: sure}}},
			{Anchor: AtReceiver, Rate: 1, Min: 0.8, Max: 30, Shapes: Shapes{0, 0.6, 0.3, 0.1}, Effects: []Effect{
				{Signal: Received, PerSize: -1, SpreadPerSize: 0.02}, {Signal: RadioOut, PerSize: -2, SpreadPerSize: 0.12}, {Signal: Noise, PerSize: -1.2, SpreadPerSize: 0.7},
			}},
		},
		Actions:  []string{"Measure the light at the receiver's plug.", "With the right light there, exchange the receiver."},
		Bring:    []string{"power meter", "spare unit"},
		Disproof: "the meter at the receiver's plug reads low too",
		Deciding: "a power meter at the receiver's plug",
		Cautions: caution.Source, Basis: "a photodiode fault changes reading and RF; the light at the plug is right",
	},
	{
		ID: "outdoor-power-lost", Row: 9, Title: "Power on the roof lost", Surest: alarms.VeryLikely,
		Signatures: []Signature{
			{Anchor: AtUnit, Role: "outdoor", Rate: 3, Effects: offEffects},
			{Anchor: AtRoof, Role: "outdoor", Rate: 2, Effects: offEffects},
		},
		Actions:  []string{"Check breaker, feeder supply and surge protector.", "With power there, measure the light at the transmit port."},
		Bring:    []string{"multimeter", "fuses", "supply module", "licensed electrician for mains"},
		Disproof: "the supply is right at the unit's terminals",
		Deciding: "the voltage at the unit's terminals",
		Cautions: caution.Source, Basis: "silent in both directions, several units of one roof together",
	},
	{
		ID: "indoor-power-lost", Title: "Power of an indoor unit lost", Surest: alarms.VeryLikely,
		Signatures: []Signature{{Anchor: AtUnit, Role: "indoor", Rate: 2, Effects: offEffects}},
		Actions:    []string{"Check socket, breaker and supply of the unit."},
		Bring:      []string{"multimeter", "supply module", "licensed electrician for mains"},
		Disproof:   "the supply is right at the unit's terminals",
		Deciding:   "the voltage at the unit's terminals",
		Cautions:   caution.Unit, Basis: "silent, and dark at every far end",
	},
	{
		ID: "supply-lost", Row: 10, Title: "One supply or its feed lost", Surest: alarms.Confirmed,
		Signatures: []Signature{{Anchor: AtUnit, Rate: 6, Effects: []Effect{{Signal: SupplyFailed, Fixed: sure}}}},
		Actions:    []string{"Find which feed it is.", "Check the socket before changing the module."},
		Bring:      []string{"supply module", "mains tester"},
		Disproof:   "the unit takes its report back",
		Cautions:   caution.Mains, Basis: "the unit's own state",
	},
	{
		ID: "mains-lost", Title: "One feed of the site lost", Surest: alarms.VeryLikely,
		Signatures: []Signature{{Anchor: AtSite, Rate: 2, Effects: []Effect{{Signal: SupplyFailed, Fixed: 0.8}}}},
		Actions:    []string{"Ask at the site whether there is power.", "Find the breaker that all the supplies have in common."},
		Bring:      []string{"mains tester", "licensed electrician for mains"},
		Disproof:   "the feed is live at the socket of one of the supplies",
		Deciding:   "the voltage at the common feed",
		Cautions:   caution.Mains, Basis: "common cause: supplies of several units fail together",
	},
	{
		ID: "mains-dip", Row: 11, Title: "Mains dip", Surest: alarms.Likely, NoVisit: true,
		Signatures: []Signature{{Anchor: AtDip, Rate: 10, Effects: []Effect{{Signal: Restarted, Fixed: sure}}}},
		Actions:    []string{"Compare with the power log of the site.", "Note it for the customer."},
		Disproof:   "no dip in the power log of the site",
		Deciding:   "the power log of the site",
		Cautions:   caution.Mains, Basis: "common cause: several boxes start anew in the same minute",
	},
	{
		ID: "agent-restart", Row: 19, Title: "Restart of the unit's agent", Surest: alarms.Confirmed, NoVisit: true,
		Signatures: []Signature{{Anchor: AtUnit, Rate: 10, Effects: []Effect{{Signal: Restarted, Fixed: sure}}}},
		Actions:    []string{"Nothing for one; look for the cause of repeated restarts."},
		Disproof:   "the uptime was not reset", Basis: "uptime small, readings as before",
	},
	{
		ID: "warm-up", Row: 20, Title: "Warm-up after a start in the cold", Unit: "dB", Surest: alarms.VeryLikely, NoVisit: true,
		Signatures: []Signature{
			{Anchor: AtUnit, Rate: 5, Min: 3, Max: 30, Effects: []Effect{
				{Signal: Warming, Fixed: sure}, {Signal: Cold, Fixed: 0.9}, {Signal: Restarted, Fixed: 0.9},
				{Signal: Sent, PerSize: -1, SpreadPerSize: 0.05}, {Signal: Received, PerSize: -1, Spread: 0.5, SpreadPerSize: 0.05, Thins: true},
				{Signal: RadioOut, Fixed: -20, Spread: 25}, {Signal: Noise, Spread: 25}, {Signal: Bias, Fixed: -40, Spread: 40}, {Signal: RadioUnsteady, Spread: 5},
			}},
			{Anchor: AtUnit, Rate: 3, Effects: []Effect{
				{Signal: LaserDark, Fixed: sure}, {Signal: Dark, Fixed: 0.98, Thins: true}, {Signal: Cold, Fixed: sure}, {Signal: Restarted, Fixed: 0.98},
				{Signal: Bias, Fixed: -60, Spread: 60}, {Signal: Sent, Spread: 30},
			}},
		},
		Actions:  []string{"Wait for the case to be warm.", "Look at the heater when it takes longer than the limit of the type, or recurs."},
		Bring:    []string{"spare unit or heater, if it recurs"},
		Disproof: "the case is warm and the light does not come",
		Cautions: caution.Box, Basis: "units in the cold hold the laser back until a heater has warmed it (common practice)",
	},
	{
		ID: "slope-loss", Row: 21, Title: "Slope of the laser lost", Unit: "dB of RF", Surest: alarms.Possible,
		Signatures: []Signature{{Anchor: AtLaser, Rate: 1, Min: 0.6, Max: 8, Shapes: anyShape, Effects: []Effect{
			{Signal: RadioOut, PerSize: -1, SpreadPerSize: 0.05}, {Signal: Bias, PerSize: 5, SpreadPerSize: 3}, {Signal: Noise, SpreadPerSize: 1.2},
		}}},
		Actions:  []string{"Feed a known tone into the unit and compare the gain with that of commissioning."},
		Bring:    []string{"signal generator", "analyser", "spare unit"},
		Disproof: "gain with a known tone as at commissioning",
		Deciding: "a known tone at the unit's RF input",
		Cautions: caution.Source, Basis: "RF gain goes with the square of the slope at unchanged light: 5, 10, 20 % cost 0.45, 0.92, 1.94 dB",
	},
}

// offEffects of a unit without power: it does not answer, and what it fed is
// dark.
var offEffects = []Effect{{Signal: Silent, Fixed: sure}, {Signal: Dark, Fixed: sure, Thins: true}, {Signal: Metered, Fixed: -30, Spread: 6}}
