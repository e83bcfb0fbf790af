// Package caution holds the safety texts that go with every text which sends
// a person to fibre, roof, antenna or mains, by the place the work is at. They
// inform; local codes and licensed persons decide. Sources: laser classes
// after IEC 60825-1 and -2; radio exposure after the FCC and ICNIRP limits;
// the rest is common practice in the trade.
package caution

import "slices"

var (
	fibre = []string{
		"Treat every fibre as live: infrared at 1310 and 1550 nm is invisible, dark does not mean safe. Never look into a fibre or a connector.",
		"Use a video microscope, not an eyepiece; switch the laser off or cap the far end before inspecting.",
		"Wear eye protection when cleaving and collect every shard.",
	}
	roof = []string{
		"Roof: fall protection, fit weather, a second person; no work during or near thunderstorms.",
		"Do not disconnect earthing or surge protection.",
	}
	antenna = []string{
		"Stay out of the front of a transmitting antenna; switch the transmit path off before working near it.",
	}
	mains = []string{
		"Mains: isolate, lock, test for dead. Two supplies mean two feeds to isolate. Work on mains is for licensed persons.",
	}
	codes = []string{
		"Local codes and licensed persons decide; these notes advise and do not replace them.",
	}
)

// Texts by the place of the work. They are shared: do not change them.
var (
	Path    = slices.Concat(fibre, roof, antenna, codes) // fibre that ends on the roof
	Antenna = slices.Concat(roof, antenna, codes)
	Mains   = slices.Concat(mains, codes)
	Box     = slices.Concat(mains, roof, antenna, codes) // an outdoor unit
	Unit    = slices.Concat(mains, fibre, codes)         // an indoor unit
	Source  = slices.Concat(fibre, mains, roof, antenna, codes)
)
