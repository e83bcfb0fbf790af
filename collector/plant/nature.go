package plant

import (
	"math"
	"time"

	"lightwell/collector/budget"
)

// mix scrambles a word (the finalizer of SplitMix64).
func mix(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// hashText combines a key with a text (FNV-1a, scrambled).
func hashText(key uint64, s string) uint64 {
	h := uint64(14695981039346656037) ^ mix(key)
	for i := range len(s) {
		h = (h ^ uint64(s[i])) * 1099511628211
	}
	return mix(h)
}

// uniform returns a number from -1 to 1 for a hash.
func uniform(h uint64) float64 { return float64(h>>11)/(1<<52) - 1 }

// gauss returns a number of mean 0 and standard deviation 1 for a hash: the
// sum of four even numbers, never beyond 3.5.
func gauss(h uint64) float64 {
	const mask = 1<<16 - 1
	sum := float64(h&mask+h>>16&mask+h>>32&mask+h>>48) / (1 << 16)
	return (sum - 2) * math.Sqrt(3)
}

// smooth returns a number from -1 to 1 that wanders from one period to the
// next without steps.
func smooth(key uint64, t time.Time, period time.Duration) float64 {
	n := t.UnixNano()
	slot := n / int64(period)
	x := float64(n%int64(period)) / float64(period)
	a, b := uniform(mix(key^uint64(slot))), uniform(mix(key^uint64(slot+1)))
	return a + (b-a)*x*x*(3-2*x)
}

// optic is one optical port: a laser and a photodiode with their monitors.
type optic struct {
	laser    budget.Laser
	power    budget.Milliwatt // that power control holds, by its own monitor
	txOffset budget.DB        // of the transmit monitor
	rxOffset budget.DB        // of the receive monitor
	tracking float64          // dB per kelvin that the fibre gets more than the monitor sees
}

// nature is what differs between two boxes of one type. A unit that is
// exchanged gets another nature. Ranges are common practice: monitors are off
// by up to a decibel, lasers differ by a tenth.
type nature struct {
	optics       []optic
	responsivity float64   // A/W
	rfIn         float64   // dBm
	postGain     budget.DB // behind the photodiode
	lnaMA        float64
	age          time.Duration // uptime when the plant begins
}

// Figures of every unit that its model does not tell.
const (
	refC        = 25.0
	rinAtRef    = budget.DB(-155) // dB/Hz, a usual analogue DFB laser
	postGain    = 35.0
	rfInOutdoor = -50.0 // dBm behind the antenna's amplifier
	rfInIndoor  = -35.0
)

func newNature(u *unit, generation int) nature {
	key := mix(u.key + uint64(generation))
	draw := func(what string) float64 { return uniform(hashText(key, what)) }
	n := nature{
		responsivity: 0.9 * (1 + 0.03*draw("responsivity")),
		rfIn:         rfInIndoor + 2*draw("rf"),
		postGain:     budget.DB(postGain + draw("gain")),
		lnaMA:        u.feedCurrent() * (1 + 0.05*draw("lna")),
		age:          time.Duration((40 + 30*draw("age")) * float64(24*time.Hour)),
	}
	if u.outdoor() {
		n.rfIn += rfInOutdoor - rfInIndoor
	}
	for _, port := range u.ports {
		n.optics = append(n.optics, optic{
			laser: budget.Laser{
				RefC: refC, Threshold: 8 * (1 + 0.1*draw("threshold"+port)), ThresholdCharK: 60,
				Slope: 0.2 * (1 + 0.05*draw("slope"+port)), SlopeCharK: 200,
			},
			power:    budget.DBm(-0.5 + 0.4*draw("power"+port)).Milliwatts(),
			txOffset: budget.DB(draw("tx" + port)),
			rxOffset: budget.DB(draw("rx" + port)),
			tracking: 0.006 * draw("tracking"+port),
		})
	}
	return n
}
