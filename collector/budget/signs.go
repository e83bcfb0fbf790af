package budget

// What a change of the light and of the radio signal behind it mean together.

// A Ratio is the verdict of the two-to-one test.
type Ratio string

// Verdicts of TwoToOne.
const (
	RealLoss     Ratio = "real optical loss"    // RF falls by twice the light
	MonitorDrift Ratio = "monitor drift"        // the light seems to fall, RF does not follow
	RadioOnly    Ratio = "radio side"           // RF moves, the light does not
	Undecided    Ratio = "undecided"            // between, or too small to tell
	HeldByAGC    Ratio = "held by gain control" // RF does not follow, but gain control may hold it
)

// Limits of the ratio of RF to optical decibels (derived from the two-to-one
// law with room for noise).
const (
	ratioLow, ratioHigh = 1.6, 2.4
	ratioNone           = 0.5
	leastChange         = DB(0.5) // of the light; below it a ratio is noise
)

// TwoToOne judges the change of RF level behind a change of received light, at
// unchanged input. With agc the unit may hold its RF level itself.
func TwoToOne(received, rf DB, agc bool) (Ratio, float64) {
	if abs(received) < leastChange {
		if abs(rf) >= 2*leastChange {
			return RadioOnly, 0
		}
		return Undecided, 0
	}
	switch q := float64(rf / received); {
	case q >= ratioLow && q <= ratioHigh:
		return RealLoss, q
	case q < ratioNone && agc:
		return HeldByAGC, q
	case q < ratioNone:
		return MonitorDrift, q
	default:
		return Undecided, q
	}
}

// An End is what the monitors of one end of a pair of fibres say.
type End struct {
	Transmits bool // its laser is as planned
	Receives  bool // light arrives
}

// CrossedPair tells whether the two fibres of a pair are swapped, transmitter
// to transmitter: after work at a plug, both ends transmit and neither
// receives. Without work it is a cut of both (common practice).
func CrossedPair(a, b End, worked bool) bool {
	return worked && a.Transmits && b.Transmits && !a.Receives && !b.Receives
}

func abs(d DB) DB { return max(d, -d) }

// ModuleFlags are the alarm or warning flags of an optical module (SFF-8472,
// page A2h, octets 112 and 113 or 116 and 117).
type ModuleFlags uint16

// Flags by their bit: those of octet 112 stand in the high octet.
const (
	ReceiveLow      ModuleFlags = 1 << 6
	ReceiveHigh     ModuleFlags = 1 << 7
	TransmitLow     ModuleFlags = 1 << 8
	TransmitHigh    ModuleFlags = 1 << 9
	BiasLow         ModuleFlags = 1 << 10
	BiasHigh        ModuleFlags = 1 << 11
	SupplyLow       ModuleFlags = 1 << 12
	SupplyHigh      ModuleFlags = 1 << 13
	TemperatureLow  ModuleFlags = 1 << 14
	TemperatureHigh ModuleFlags = 1 << 15
)

// NewModuleFlags joins the two octets.
func NewModuleFlags(octet112, octet113 byte) ModuleFlags {
	return ModuleFlags(octet112)<<8 | ModuleFlags(octet113)
}

// PowerStep returns by how much a level moves when a power counted in steps of
// so many milliwatts grows by one: 0.1 µW is 0.41 dB at -30 dBm. Limits must
// be wider than it.
func PowerStep(level DBm, step Milliwatt) DB {
	p := level.Milliwatts()
	return Decibels(float64((p + step) / p))
}
