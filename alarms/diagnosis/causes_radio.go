package diagnosis

import (
	"lightwell/alarms"
	"lightwell/alarms/caution"
)

// radioCauses strike what is before the laser: antenna, coax, feed, and what
// comes in by them.
var radioCauses = []Cause{
	{
		ID: "water-in-coax", Row: 12, Title: "Water in the antenna coax", Unit: "RF dB", Surest: alarms.Likely,
		Signatures: []Signature{{Anchor: AtUnit, Rate: 4, Min: 1.5, Max: 40, Shapes: anyShape, Effects: []Effect{
			{Signal: RadioIn, PerSize: -1, SpreadPerSize: 0.02}, {Signal: RadioOut, PerSize: -1, SpreadPerSize: 0.05},
			{Signal: FeedCurrent, Fixed: 22, Spread: 12},
		}}},
		Actions:  []string{"Open, dry and reseal the connectors, or replace the coax.", "Sweep the return loss."},
		Bring:    []string{"coax", "connectors", "self-amalgamating tape", "analyser"},
		Disproof: "return loss of the coax as at commissioning",
		Deciding: "return loss of the coax, and the weather before it began",
		Cautions: caution.Antenna, Basis: "RF in falls after rain and comes back when it dries, feed current off (radio-site reports: return loss 7 dB in wet jumpers)",
	},
	{
		ID: "antenna-obstructed", Row: 13, Title: "Obstructed, moved or failed antenna", Unit: "RF dB", Surest: alarms.Possible,
		Signatures: []Signature{{Anchor: AtUnit, Rate: 6, Min: 1.5, Max: 40, Shapes: anyShape, Effects: []Effect{
			{Signal: RadioIn, PerSize: -1, SpreadPerSize: 0.02}, {Signal: RadioOut, PerSize: -1, SpreadPerSize: 0.05},
		}}},
		Actions:  []string{"Look at the antenna: snow, new walls, a mast that has turned.", "Compare the sky plot with that of commissioning, by azimuth."},
		Bring:    []string{"spare antenna", "camera", "compass"},
		Disproof: "sky plot as at commissioning",
		Deciding: "the sky plot by azimuth, and the feed current",
		Cautions: caution.Antenna, Basis: "RF in falls at unchanged feed current; some azimuths or all (common practice)",
	},
	{
		ID: "antenna-feed-fault", Row: 14, Title: "Electrical fault at the antenna port", Surest: alarms.Confirmed,
		Signatures: []Signature{
			{Anchor: AtUnit, Rate: 4, Effects: []Effect{
				{Signal: FeedOpen, Fixed: sure}, {Signal: FeedCurrent, Fixed: -100, Spread: 8}, {Signal: RadioIn, Fixed: -25, Spread: 15}, {Signal: RadioOut, Fixed: -25, Spread: 15},
				{Signal: Noise, Spread: 10},
			}},
			{Anchor: AtUnit, Rate: 3, Effects: []Effect{
				{Signal: FeedShort, Fixed: sure}, {Signal: FeedCurrent, Fixed: 400, Spread: 400}, {Signal: RadioIn, Fixed: -25, Spread: 15}, {Signal: RadioOut, Fixed: -25, Spread: 15},
				{Signal: Noise, Spread: 10},
			}},
		},
		Actions:  []string{"Measure the direct current at the port, then with the coax off.", "Look for surge damage at arrestor and amplifier."},
		Bring:    []string{"amplifier or antenna", "surge arrestor", "multimeter"},
		Disproof: "direct current at the port as at commissioning",
		Deciding: "direct current at the port with the coax off",
		Cautions: caution.Antenna, Basis: "the unit's own state: no current is open, too much is short",
	},
	{
		ID: "interference", Row: 23, Title: "Strong signal from outside", Unit: "RF dB", Surest: alarms.Possible,
		Signatures: []Signature{{Anchor: AtUnit, Rate: 1.5, Min: 2, Max: 60, Shapes: anyShape, Effects: []Effect{
			{Signal: RadioIn, PerSize: 1, SpreadPerSize: 0.03}, {Signal: RadioOut, PerSize: 0.97, SpreadPerSize: 0.06}, {Signal: Noise, PerSize: 0.5, Spread: 0.5, SpreadPerSize: 0.3},
		}}},
		Actions:  []string{"Look at the spectrum at the antenna port.", "Compare its times with those of the neighbourhood."},
		Bring:    []string{"spectrum analyser", "filter", "attenuator"},
		Disproof: "spectrum at the antenna port as at commissioning",
		Deciding: "the spectrum at the antenna port; lower the gain by 3 dB: feedback stops, interference stays",
		Cautions: caution.Antenna, Basis: "RF in rises strongly, products of intermodulation raise the floor",
	},
	{
		ID: "feedback", Row: 24, Title: "Feedback between the antennas", Unit: "RF dB", Surest: alarms.Possible,
		Signatures: []Signature{{Anchor: AtUnit, Rate: 0.8, Min: 1, Max: 30, Shapes: anyShape, Effects: []Effect{
			{Signal: RadioIn, PerSize: 1, SpreadPerSize: 0.5}, {Signal: InputUnsteady, PerSize: 0.5, SpreadPerSize: 0.2}, {Signal: RadioOut, PerSize: 1, SpreadPerSize: 0.6},
			{Signal: RadioUnsteady, PerSize: 0.5, SpreadPerSize: 0.3}, {Signal: Noise, PerSize: 0.5, SpreadPerSize: 0.3},
			{Signal: Noise, Side: In, PerSize: 0.5, SpreadPerSize: 0.3}, {Signal: RadioUnsteady, Side: In, PerSize: 0.3, SpreadPerSize: 0.2},
			{Signal: RadioOut, Side: In, SpreadPerSize: 0.4},
		}}},
		Actions:  []string{"Lower the gain by 3 dB: if it steadies, it was feedback.", "Measure the isolation between the antennas."},
		Bring:    []string{"tape measure", "isolation test set"},
		Disproof: "the level stays unsteady with 3 dB less gain",
		Deciding: "lower the gain by 3 dB",
		Cautions: caution.Antenna, Basis: "ripple 20·log10((1+u)/(1-u)), u = 10^(-M/20): margin too small (common practice: 15 dB)",
	},
}
