package diagnosis

import (
	"lightwell/alarms"
	"lightwell/alarms/caution"
)

// Effects that several causes have.
var (
	// lossEffects of one decibel of light lost on the way. The photocurrent is
	// proportional to the light and RF power to its square, so RF falls twice
	// (Federal Standard 1037C, "transfer function"). The noise floor falls by
	// nothing where the receiver makes it and by two where the laser does.
	lossEffects = []Effect{
		{Signal: Received, PerSize: -1, SpreadPerSize: 0.02, Thins: true},
		{Signal: RadioOut, PerSize: -2, SpreadPerSize: 0.12, Thins: true},
		{Signal: Noise, PerSize: -1.2, SpreadPerSize: 0.7},
		{Signal: Metered, PerSize: -1, SpreadPerSize: 0.1},
	}
	// openEffects of a way that is open: darkness, and what is read over it is
	// not read any more.
	openEffects = []Effect{{Signal: Dark, Fixed: sure}, {Signal: Metered, Fixed: -30, Spread: 6}}
)

// sure is the probability of a state that a cause brings for certain.
const sure = 0.999

// Shapes that several causes have: step, ramp, comes and goes.
var (
	steps    = Shapes{0, 0.9, 0.08, 0.02}
	ramps    = Shapes{0, 0.08, 0.9, 0.02}
	anyShape = Shapes{0, 1. / 3, 1. / 3, 1. / 3}
	contact  = Shapes{0, 0.6, 0.12, 0.28} // dirt and loose plugs
)

var bendEffects = []Effect{
	{Signal: Received, PerSize: -1, SpreadPerSize: 0.06, Bends: true, Thins: true},
	{Signal: RadioOut, PerSize: -2, SpreadPerSize: 0.2, Bends: true, Thins: true},
	{Signal: Noise, PerSize: -1.2, SpreadPerSize: 0.7, Bends: true},
	{Signal: Metered, PerSize: -1, SpreadPerSize: 0.1, Bends: true},
}

// lightCauses strike fibres, joints and plugs.
var lightCauses = []Cause{
	{
		ID: "connector-dirty", Row: 1, Title: "Dirty or loose connector", Unit: "dB", Surest: alarms.Likely,
		Signatures: []Signature{
			{Anchor: AtFibre, Rate: 10, AfterJob: 60, Min: 0.4, Max: 30, Shapes: contact, Effects: lossEffects},
		},
		Actions:  []string{"Inspect, clean and re-seat the connectors at both ends, keys aligned.", "Read again after each connector."},
		Bring:    []string{"scope with APC tip", "one-click cleaner", "wet and dry cleaning kit", "caps", "spare FC/APC jumper", "power meter"},
		Disproof: "the level does not move when the plugs are cleaned and re-seated",
		Deciding: "the loss at 1310 and at 1550 nm: clearly more at 1550 is a bend, equal or slightly less is a joint; a power meter at the receiver's plug",
		Cautions: caution.Path, Basis: "loss of one direction, RF falls twice; effect of dirt: IEC 61300-3-35 and published cases",
	},
	{
		ID: "fibre-bend", Row: 2, Title: "Bend or squeezed cable", Unit: "dB at 1310 nm", Surest: alarms.Likely,
		Signatures: []Signature{
			{Anchor: AtFibre, Rate: 1.5, AfterJob: 8, Min: 0.1, Max: 20, Shapes: steps, Effects: bendEffects},
			{Anchor: AtPair, Rate: 3, AfterJob: 12, Min: 0.1, Max: 20, Shapes: steps, Effects: bendEffects},
			{Anchor: AtCable, Rate: 2, AfterJob: 8, Min: 0.1, Max: 20, Shapes: steps, Effects: bendEffects},
		},
		Actions:  []string{"Walk the route: new work, trays, doors, tight ties.", "Measure the loss at 1310 and at 1550 nm."},
		Bring:    []string{"two-wavelength source and meter, or OTDR", "visual fault locator", "ties", "bend guides"},
		Disproof: "the loss at 1550 nm is not more than half a decibel above that at 1310 nm",
		Deciding: "the loss at 1310 and at 1550 nm",
		Cautions: caution.Path, Basis: "bend loss grows with wavelength (limits of ITU-T G.657); joint loss does not",
	},
	{
		ID: "fibre-open", Row: 3, Title: "Fibre broken or unplugged", Surest: alarms.VeryLikely,
		Signatures: []Signature{
			{Anchor: AtFibre, Rate: 4, AfterJob: 30, Effects: openEffects},
			{Anchor: AtPair, Rate: 2, AfterJob: 10, Effects: openEffects}, // a duplex cord
		},
		Actions:  []string{"Check both plugs.", "Look for the break with a visual fault locator.", "Take an OTDR trace: it gives the distance."},
		Bring:    []string{"OTDR with launch fibre", "visual fault locator", "splicer", "jumper"},
		Disproof: "a power meter at the receiver's plug shows light",
		Deciding: "a power meter at the receiver's plug, and whether the far unit has power",
		Cautions: caution.Path, Basis: "no light at one receiver while its transmitter is right; distance from the delay of light",
	},
	{
		ID: "cable-cut", Row: 4, Title: "Cable cut", Surest: alarms.VeryLikely,
		Signatures: []Signature{{Anchor: AtCable, Rate: 2, AfterJob: 10, Effects: openEffects}},
		Actions:    []string{"Ask for building, roof or route work since the time of the alarm.", "Take an OTDR trace of one strand from the rack."},
		Bring:      []string{"OTDR with launch fibre", "splicer", "spare cable", "closure"},
		Disproof:   "light in any strand of the cable",
		Deciding:   "whether the units at its far end have power",
		Cautions:   caution.Path, Basis: "common cause: all fibres of a sheath within one poll",
	},
	{
		ID: "joint-creep", Row: 5, Title: "Joint that degrades slowly", Unit: "dB", Surest: alarms.Possible,
		Signatures: []Signature{
			{Anchor: AtFibre, Rate: 4, Min: 0.2, Max: 15, Shapes: ramps, Effects: lossEffects},
			{Anchor: AtCable, Rate: 1, Min: 0.2, Max: 15, Shapes: ramps, Effects: lossEffects},
		},
		Actions:  []string{"Compare an OTDR trace with that of commissioning.", "Look for moisture and strain in the closure."},
		Bring:    []string{"OTDR with launch fibre", "splicer", "closure kit"},
		Disproof: "a trace without change against commissioning, or a level that comes back with cleaning",
		Deciding: "an OTDR trace against that of commissioning",
		Cautions: caution.Path, Basis: "0.05 to 0.3 dB a month, partly seasonal (common practice)",
	},
	{
		ID: "pair-crossed", Row: 17, Title: "Fibres of the pair swapped", Surest: alarms.VeryLikely,
		Signatures: []Signature{{Anchor: AtPair, Rate: 0.02, AfterJob: 300, Effects: openEffects}},
		Actions:    []string{"Swap the two plugs at one end only.", "Read both ends again."},
		Bring:      []string{"labels", "visual fault locator"},
		Disproof:   "no work was done at the link, or the levels stay away after the swap",
		Deciding:   "swap the two plugs at one end",
		Cautions:   caution.Path, Basis: "after work both receivers dark, both transmitters right (common practice)",
	},
	{
		ID: "polish-mismatch", Row: 18, Title: "Flat plug in an angled adaptor, or wrong fibre", Unit: "dB", Surest: alarms.Likely,
		Signatures: []Signature{{Anchor: AtFibre, Rate: 0.1, AfterJob: 60, Min: 2, Max: 12, Shapes: steps, Effects: []Effect{
			lossEffects[0], lossEffects[3], {Signal: RadioOut, PerSize: -2, Spread: 0.8, SpreadPerSize: 0.12, Thins: true},
			{Signal: Noise, Fixed: 7, PerSize: -1.5, Spread: 3, SpreadPerSize: 0.4}, {Signal: RadioUnsteady, Fixed: 0.8, Spread: 0.35},
		}}},
		Actions:  []string{"Check colour and print on the jumpers: APC is green, single mode 9/125.", "Inspect both faces."},
		Bring:    []string{"green FC/APC single-mode jumpers", "scope with APC tip"},
		Disproof: "all plugs are APC and single mode",
		Deciding: "colour and print on the jumpers",
		Cautions: caution.Path, Basis: "flat face in an 8 degree adaptor: 3.8 dB at 30 µm gap, 5.8 dB at 50 µm, 14 dB return loss (Fresnel, Marcuse)",
	},
	{
		ID: "reflection", Row: 22, Title: "Reflection into the laser, or a hot laser", Unit: "dB of noise", Surest: alarms.Possible,
		Signatures: []Signature{{Anchor: AtFibre, Rate: 1.5, AfterJob: 5, Min: 1.5, Max: 30, Shapes: anyShape, Effects: []Effect{
			{Signal: Noise, PerSize: 1, SpreadPerSize: 0.05}, {Signal: RadioUnsteady, Fixed: 0.1, Spread: 0.2}, {Signal: RadioOut, SpreadPerSize: 0.05},
		}}},
		Actions:  []string{"Clean and inspect all APC faces of the fibre.", "Compare temperature and bias of the laser with their baselines."},
		Bring:    []string{"scope with APC tip", "return loss meter", "cleaning kit"},
		Disproof: "return loss above 55 dB at every face",
		Deciding: "return loss of the line",
		Cautions: caution.Path, Basis: "returned light raises the laser's intensity noise; noise goes with (bias/threshold - 1)^-3",
	},
}
