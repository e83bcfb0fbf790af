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
			power:    budget.Level(-0.5 + 0.4*draw("power"+port)).Milliwatts(),
			txOffset: budget.DB(draw("tx" + port)),
			rxOffset: budget.DB(draw("rx" + port)),
			tracking: 0.006 * draw("tracking"+port),
		})
	}
	return n
}

// climate is the weather of a site. It is temperate and calm on purpose, so
// that weather alone does not look like a fault: a roof unit's case moves by
// some 8 K between a clear noon and the night. Rougher days are faults
// of the kinds temperature-swing and warm-up.
type climate struct {
	key   uint64
	zone  *time.Location
	meanC float64 // of the year
}

// Amplitudes of a climate, in kelvins.
const (
	seasonK = 5.0
	dailyK  = 2.5
	frontK  = 1.5
	sunK    = 4.0 // on a roof unit's case
	roomC   = 22.0
	roomK   = 0.7
)

func newClimate(key uint64, zone *time.Location) climate {
	if zone == nil {
		zone = time.UTC
	}
	return climate{key, zone, 12 + 4*uniform(mix(key))}
}

// hour returns the local time of day in hours.
func (c climate) hour(t time.Time) float64 {
	_, offset := t.In(c.zone).Zone()
	day := (t.UnixNano() + int64(offset)*1e9) % int64(24*time.Hour)
	return float64(day) / float64(time.Hour)
}

// daily returns the course of a day from -1 to 1, warmest at three o'clock.
func (c climate) daily(t time.Time) float64 { return math.Cos(2 * math.Pi * (c.hour(t) - 15) / 24) }

// air returns the temperature outside, in degrees Celsius.
func (c climate) air(t time.Time) float64 {
	const year = 365.2425 * 86400
	season := -math.Cos(2 * math.Pi * (float64(t.Unix())/year - 20/365.25)) // coldest on 20 January
	return c.meanC + seasonK*season + dailyK*c.daily(t) + frontK*smooth(c.key, t, 48*time.Hour)
}

// sun returns by how much the sun heats a case on the roof, in kelvins.
func (c climate) sun(t time.Time) float64 {
	height := math.Cos(2 * math.Pi * (c.hour(t) - 12.5) / 24)
	clear := 0.5 + 0.5*smooth(mix(c.key), t, 6*time.Hour)
	return sunK * max(0, height) * clear
}

// room returns the temperature inside, in degrees Celsius.
func (c climate) room(t time.Time) float64 { return roomC + roomK*c.daily(t) }
