package diagnosis

import (
	"lightwell/alarms"
	"lightwell/alarms/caution"
)

// otherCauses are those in which the service is right, or nearly: monitors,
// weather, old baselines, the way to the units.
var otherCauses = []Cause{
	{
		ID: "monitor-drift", Row: 15, Title: "Power monitor that drifts", Unit: "dB", Surest: alarms.Likely,
		Signatures: []Signature{
			{Anchor: AtReceiver, Rate: 1.5, Min: 0.4, Max: 20, Negative: true, Shapes: ramps, Effects: []Effect{{Signal: Received, PerSize: 1}}},
			{Anchor: AtReceiver, Rate: 1.5, Min: 0.4, Max: 20, Shapes: ramps, Effects: []Effect{{Signal: Received, PerSize: 1}}},
			{Anchor: AtLaser, Rate: 1.5, Min: 0.3, Max: 20, Negative: true, Shapes: ramps, Effects: []Effect{{Signal: Sent, PerSize: 1}}},
			{Anchor: AtLaser, Rate: 1.5, Min: 0.3, Max: 20, Shapes: ramps, Effects: []Effect{{Signal: Sent, PerSize: 1}}},
		},
		Actions:  []string{"Compare with a power meter.", "With the meter right, take a new baseline and note why."},
		Bring:    []string{"power meter"},
		Disproof: "the meter shows the same as the monitor",
		Deciding: "a power meter at the same plug",
		Cautions: caution.Source, Basis: "light moves and RF does not (two to one fails), or the transmit monitor moves and the far end does not",
	},
	{
		ID: "temperature-swing", Row: 16, Title: "Light that follows the temperature", Unit: "dB of amplitude", Surest: alarms.Likely,
		Signatures: []Signature{
			{Anchor: AtLaser, Rate: 3, Min: 0.25, Max: 6, Shapes: anyShape, Effects: swingEffects},
			{Anchor: AtFibre, Rate: 0.5, Min: 0.25, Max: 6, Shapes: anyShape, Effects: swingEffects},
			{Anchor: AtPair, Rate: 1, Min: 0.25, Max: 6, Shapes: anyShape, Effects: swingEffects},
			{Anchor: AtCable, Rate: 2, Min: 0.25, Max: 6, Shapes: anyShape, Effects: swingEffects},
		},
		Actions:  []string{"Inspect closure, slack and connectors.", "Log it over a week beside the temperatures."},
		Bring:    []string{"two-wavelength source and meter, or OTDR", "cleaning kit", "closure kit"},
		Disproof: "the swing stays away over days with the same temperatures",
		Deciding: "which temperature it follows: the transmitter's case in one direction only is its coupling, the air in both is closure or cable",
		Cautions: caution.Path, Basis: "glass moves 0.05 dB/km at most from -60 to +85 °C: a daily swing is a joint, a bend or tracking error of the laser",
	},
	{
		ID: "unit-exchanged", Row: 25, Title: "Baseline older than the equipment", Surest: alarms.Likely, NoVisit: true,
		Signatures: []Signature{{Anchor: AtUnit, Rate: 0.002, AfterJob: 3, Shapes: steps, Effects: []Effect{
			{Signal: Received, Side: In, Spread: 1}, {Signal: RadioOut, Side: In, Spread: 1.5}, {Signal: Noise, Side: In, Spread: 1.5},
			{Signal: Sent, Spread: 1}, {Signal: Bias, Spread: 15}, {Signal: Received, Spread: 0.8}, {Signal: RadioOut, Spread: 3}, {Signal: Noise, Spread: 3},
			{Signal: RadioIn, Spread: 2}, {Signal: FeedCurrent, Spread: 6}, {Signal: Restarted, Fixed: 0.6},
		}}},
		Actions:  []string{"Take a new baseline of the unit and of those at its far ends; the old one is kept."},
		Disproof: "the unit is the one that the baseline was taken of", Basis: "everything offset by a constant after a recorded exchange (common practice)",
	},
	{
		ID: "management-lost", Row: 26, Title: "Management network lost; the links probably work", Surest: alarms.Likely,
		Signatures: []Signature{
			{Anchor: AtUnit, Rate: 3, Effects: []Effect{{Signal: Silent, Fixed: sure}}},
			{Anchor: AtSite, Rate: 6, Effects: []Effect{{Signal: Silent, Fixed: sure}}},
		},
		Actions:  []string{"Reach the gateway of the site.", "Check switch, VLAN and uplink.", "Ask at the site whether the service works."},
		Bring:    []string{"laptop", "patch cord"},
		Types:    []string{"unit-unreachable", "credentials-refused"}, // the links work: nothing else comes of it
		Disproof: "the service is down too",
		Deciding: "ask at the site whether the service works",
		Cautions: caution.Mains, Basis: "common cause: many units unreachable at once, far ends see light",
	},
}

// swingEffects of an amplitude over the day: at any one moment the level is
// anywhere within it.
var swingEffects = []Effect{
	{Signal: Swing, PerSize: 1, SpreadPerSize: 0.15}, {Signal: Received, SpreadPerSize: 1}, {Signal: RadioOut, SpreadPerSize: 2}, {Signal: Noise, SpreadPerSize: 2},
}
