package diagnosis

import "lightwell/alarms"

// A Signal is one kind of cell in the vector of what is seen.
type Signal uint8

// Signals of a fibre, at its far end. Levels are deviations from the baseline
// in decibels; states are 1 or 0.
const (
	Received      Signal = iota // optical power
	Dark                        // no light
	RadioOut                    // RF level, as if there were no gain control and no slope that follows temperature
	Noise                       // noise floor, as if there were no gain control
	RadioUnsteady               // RF level from one reading to the next, dB
	Swing                       // amplitude of the received power over the day, dB
	Metered                     // a meter at the plug against what it should show, dB
	// Signals of a laser.
	Sent        // optical power by its own monitor
	Bias        // against the model of its temperature, percent
	BiasAtLimit // the driver gives all it can
	LaserDark   // failed or off by its own account, or no light by its monitor
	Warming     // by its own account
	// Signals of a unit.
	Silent        // it was asked and cannot be read
	Restarted     // its agent started anew lately
	SupplyFailed  // one of its supplies, by its own account
	RadioIn       // RF level at its input
	InputUnsteady // the same from one reading to the next, dB
	FeedOpen      // by its own account
	FeedShort
	FeedCurrent // percent
	Cold        // the case is below what a start needs
	signals
)

// state tells whether a signal is 1 or 0.
func (s Signal) state() bool {
	switch s {
	case Dark, BiasAtLimit, LaserDark, Warming, Silent, Restarted, SupplyFailed, FeedOpen, FeedShort, Cold:
		return true
	}
	return false
}

// An Anchor is what a cause strikes: what one hypothesis of it is about.
type Anchor uint8

// Anchors.
const (
	AtFibre    Anchor = iota // one direction of a link
	AtPair                   // both fibres of a link
	AtCable                  // all fibres in a sheath, two at least
	AtLaser                  // a transmit port, with all fibres that it feeds
	AtReceiver               // a receive port, with all fibres that end there
	AtUnit                   // a box
	AtRoof                   // all outdoor units of a site, two at least
	AtSite                   // all units of a site, two at least
	AtDip                    // the units that started anew in the same minute, two at least
)

// Side says which fibres of an anchor an effect is about, where it has two
// kinds of them.
type Side uint8

// Sides.
const (
	Out Side = iota // that begin there, or are the anchor
	In              // that end there
)

// An Effect is what a cause does to one signal: Fixed + PerSize·size, with a
// standard deviation of Spread + SpreadPerSize·size beside that of the
// measurement. A state is predicted by the probability that it is 1.
type Effect struct {
	Signal        Signal
	Side          Side
	Fixed         float64
	PerSize       float64
	Spread        float64
	SpreadPerSize float64
	Bends         bool // PerSize grows with the wavelength as the loss of a bend does
	Thins         bool // another's light at the same receiver thins it
}

// Shapes is how often a cause shows each course in time: nothing known, step,
// ramp, comes and goes. The first is not used.
type Shapes [4]float64

// A Signature is how a cause shows at one kind of place. A cause may have
// several: a supply can fail in one unit or on the whole roof.
type Signature struct {
	Anchor   Anchor
	Role     string  // only units of this role: outdoor or indoor; "": any
	Rate     float64 // prior: odds in ten thousand that a place has it at a moment when anything deviates
	AfterJob float64 // the same after work there; 0: as Rate
	Min, Max float64 // size; both 0: it has none
	Negative bool    // sizes count downwards: the sign of PerSize is turned
	Shapes   Shapes
	Effects  []Effect
}

// A Cause is a row of the table.
type Cause struct {
	ID         string // as in fault tables of the trade, and on the simulated plant
	Row        int    // in the usual table of signatures; 0: not in it
	Title      string
	Unit       string         // of the size
	Surest     alarms.Wording // not surer than this, however well it fits
	Signatures []Signature
	Actions    []string
	Bring      []string
	Disproof   string
	Deciding   string // what tells it from its likes
	Cautions   []string
	NoVisit    bool
	Types      []string // of alarm that it may explain, where it contradicts the others; nil: any
	Basis      string   // where the signature comes from
}

// Causes returns the table. It is shared: do not change it.
func Causes() []Cause { return causes }

var causes = concat(lightCauses, unitCauses, radioCauses, otherCauses)

func concat(parts ...[]Cause) []Cause {
	var all []Cause
	for _, p := range parts {
		all = append(all, p...)
	}
	return all
}
