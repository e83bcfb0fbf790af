package rules

import "slices"

// Cautions by kind of place. Sources: laser classes after IEC 60825-1 and -2;
// radio exposure after the FCC and ICNIRP limits; the rest is common practice
// in the trade. They inform; local codes and licensed persons decide.
var (
	atFibre = []string{
		"Treat every fibre as live: infrared at 1310 and 1550 nm is invisible, dark does not mean safe. Never look into a fibre or a connector.",
		"Use a video microscope, not an eyepiece; switch the laser off or cap the far end before inspecting.",
		"Wear eye protection when cleaving and collect every shard.",
	}
	onRoof = []string{
		"Roof: fall protection, fit weather, a second person; no work during or near thunderstorms.",
		"Do not disconnect earthing or surge protection.",
	}
	atAntenna = []string{
		"Stay out of the front of a transmitting antenna; switch the transmit path off before working near it.",
	}
	atMains = []string{
		"Mains: isolate, lock, test for dead. Two supplies mean two feeds to isolate. Work on mains is for licensed persons.",
	}
	codesDecide = []string{
		"Local codes and licensed persons decide; these notes advise and do not replace them.",
	}

	pathCare    = slices.Concat(atFibre, onRoof, atAntenna, codesDecide) // fibre that ends on the roof
	antennaCare = slices.Concat(onRoof, atAntenna, codesDecide)
	mainsCare   = slices.Concat(atMains, codesDecide)
	boxCare     = slices.Concat(atMains, onRoof, atAntenna, codesDecide) // an outdoor unit
	unitCare    = slices.Concat(atMains, atFibre, codesDecide)           // an indoor unit
	sourceCare  = slices.Concat(atFibre, atMains, onRoof, atAntenna, codesDecide)
)
