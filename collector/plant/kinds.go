package plant

import (
	"time"

	"lightwell/collector"
	"lightwell/collector/budget"
)

// Target is what a kind of fault can strike.
type Target uint8

// Targets. A site or a cable stands for all in it that the kind can strike.
const (
	AtUnit Target = 1 << iota
	AtLink
	AtCable
	AtSite
)

// A Kind is one kind of fault: a row of the table that Kinds returns.
type Kind struct {
	Name    string
	Title   string // for people
	Targets Target
	Role    collector.Role // only units of this role; "": any
	OneWay  bool           // at a link strikes one fibre, the downlink unless told otherwise; else both
	Size    float64        // when none is given; 0: the kind has no size
	Min     float64        // least and greatest size
	Max     float64
	Unit    string // of the size
	Ramp    time.Duration
	For     time.Duration // 0: until repaired
	Needs   string        // "point" or "port" when the fault must name one

	power  bool          // may take a supply or restart the agent
	outage time.Duration // without power, after the ramp
	strike func(*effects, *active, float64)
}

// effects is what the faults of a unit or a fibre add up to at a moment.
// Sizes are in the kind's unit.
type effects struct {
	// of a fibre
	loss, bend  budget.DB
	open        bool
	crossed     bool
	swing       budget.DB // amplitude over the day
	reflection  budget.DB // on the laser's noise
	rippleSwing budget.DB

	// of a unit
	ageing, slopeLoss    float64 // parts
	laserDark            bool
	laserFall            budget.DB
	receiverDark         bool
	receiverFall         budget.DB
	trackingSwing        budget.DB
	rfLoss, interference budget.DB
	feedback             budget.DB
	feedOpen, feedShort  bool
	lnaExtra             float64 // part
	off, silent          bool
	lost                 []string // ports of supplies
	coldC                float64
	coldPart             float64 // how far the cold has come, 0 to 1
	heaterFailed         bool
	generation           int
	drift                map[collector.Point]float64
	broken               map[collector.Point]bool
}

func (e *effects) move(p collector.Point, by float64) {
	if e.drift == nil {
		e.drift = map[collector.Point]float64{}
	}
	e.drift[p] += by
}

func (e *effects) breakSensor(p collector.Point) {
	if e.broken == nil {
		e.broken = map[collector.Point]bool{}
	}
	e.broken[p] = true
}

const day = 24 * time.Hour

// kinds is the table. Sizes not otherwise noted are decibels of light. The
// order is that of a usual table of link faults: path, laser, receiver,
// power, antenna, monitor, weather, work errors, management.
var kinds = []Kind{
	{Name: "connector-dirty", Title: "dirty or loose connector", Targets: AtLink, OneWay: true, Size: 1.8, Min: 0.1, Max: 30, Unit: "dB",
		strike: func(e *effects, _ *active, x float64) { e.loss += budget.DB(x) }},
	{Name: "fibre-bend", Title: "bend or squeezed cable", Targets: AtLink | AtCable, Size: 1.2, Min: 0.1, Max: 30, Unit: "dB at 1310 nm",
		strike: func(e *effects, _ *active, x float64) { e.bend += budget.DB(x) }},
	{Name: "fibre-open", Title: "fibre broken or unplugged", Targets: AtLink, OneWay: true,
		strike: func(e *effects, _ *active, _ float64) { e.open = true }},
	{Name: "cable-cut", Title: "cable cut", Targets: AtCable,
		strike: func(e *effects, _ *active, _ float64) { e.open = true }},
	{Name: "joint-creep", Title: "joint that degrades slowly", Targets: AtLink | AtCable, OneWay: true, Size: 1.2, Min: 0.05, Max: 20, Unit: "dB", Ramp: 180 * day,
		strike: func(e *effects, _ *active, x float64) { e.loss += budget.DB(x) }},
	{Name: "laser-ageing", Title: "laser that ages", Targets: AtUnit, Size: 20, Min: 1, Max: 900, Unit: "% of bias", Ramp: 180 * day,
		strike: func(e *effects, _ *active, x float64) { e.ageing += x / 100 }},
	{Name: "laser-failed", Title: "laser or driver failed; with a size its light falls by so much", Targets: AtUnit, Min: 3, Max: 40, Unit: "dB",
		strike: func(e *effects, f *active, x float64) {
			e.laserDark = e.laserDark || f.Size == 0
			e.laserFall += budget.DB(x)
		}},
	{Name: "receiver-failed", Title: "photodiode or receiver failed; with a size it loses so much", Targets: AtUnit, Min: 1, Max: 40, Unit: "dB",
		strike: func(e *effects, f *active, x float64) {
			e.receiverDark = e.receiverDark || f.Size == 0
			e.receiverFall += budget.DB(x)
		}},
	{Name: "outdoor-power-lost", Title: "power on the roof lost", Targets: AtUnit | AtSite, Role: collector.Outdoor, power: true,
		strike: func(e *effects, _ *active, _ float64) { e.off = true }},
	{Name: "supply-lost", Title: "supply or its feed lost", Targets: AtUnit, Needs: "port", power: true,
		strike: func(e *effects, f *active, _ float64) { e.lost = append(e.lost, f.Port) }},
	{Name: "mains-dip", Title: "mains dip; a second supply has a battery behind it", Targets: AtSite, For: 20 * time.Second, power: true,
		strike: func(e *effects, f *active, _ float64) { e.lost = append(e.lost, f.first) }},
	{Name: "water-in-coax", Title: "water in the antenna coax, drying slowly", Targets: AtUnit, Role: collector.Outdoor, Size: 5, Min: 0.5, Max: 40, Unit: "RF dB", Ramp: 20 * time.Minute,
		strike: func(e *effects, f *active, x float64) {
			wet := f.drying(12 * time.Hour)
			e.rfLoss += budget.DB(x * wet)
			e.lnaExtra += 0.3 * x / f.Size * wet
		}},
	{Name: "antenna-obstructed", Title: "obstructed or moved antenna", Targets: AtUnit, Size: 4, Min: 0.5, Max: 40, Unit: "RF dB",
		strike: func(e *effects, _ *active, x float64) { e.rfLoss += budget.DB(x) }},
	{Name: "antenna-feed-open", Title: "antenna feed open", Targets: AtUnit,
		strike: func(e *effects, _ *active, _ float64) { e.feedOpen = true }},
	{Name: "antenna-feed-short", Title: "antenna feed shorted", Targets: AtUnit,
		strike: func(e *effects, _ *active, _ float64) { e.feedShort = true }},
	{Name: "monitor-drift", Title: "monitor that drifts while the service is right", Targets: AtUnit, Needs: "point", Size: -2, Min: -20, Max: 20, Unit: "of the point", Ramp: 30 * day,
		strike: func(e *effects, f *active, x float64) { e.move(f.point, x) }},
	{Name: "sensor-broken", Title: "sensor that the unit itself calls broken", Targets: AtUnit, Needs: "point",
		strike: func(e *effects, f *active, _ float64) { e.breakSensor(f.point) }},
	{Name: "temperature-swing", Title: "light that follows the day: at a unit its laser's coupling, at a cable its closure", Targets: AtUnit | AtCable, Size: 0.8, Min: 0.1, Max: 6, Unit: "dB of amplitude",
		strike: func(e *effects, _ *active, x float64) {
			e.swing, e.trackingSwing = e.swing+budget.DB(x), e.trackingSwing+budget.DB(x)
		}},
	{Name: "pair-crossed", Title: "fibres of the pair swapped", Targets: AtLink,
		strike: func(e *effects, _ *active, _ float64) { e.crossed = true }},
	{Name: "polish-mismatch", Title: "flat plug in an angled adaptor", Targets: AtLink, OneWay: true, Size: 5.8, Min: 1, Max: 15, Unit: "dB",
		strike: func(e *effects, _ *active, x float64) {
			e.loss += budget.DB(x)
			e.reflection += 10
			e.rippleSwing += 0.8
		}},
	{Name: "agent-restart", Title: "restart of the unit's agent", Targets: AtUnit, For: 10 * time.Second, power: true,
		strike: func(e *effects, _ *active, _ float64) { e.silent = true }},
	{Name: "warm-up", Title: "cold spell; once it is cold the power fails for half an hour and the unit starts cold", Targets: AtUnit, Role: collector.Outdoor, Size: -38, Min: -55, Max: -1, Unit: "°C outside", Ramp: 2 * time.Hour, For: 8 * time.Hour, power: true, outage: 30 * time.Minute,
		strike: func(e *effects, f *active, x float64) {
			e.coldC, e.coldPart = f.Size, x/f.Size
			if left := f.end.Sub(f.start) - f.since; !f.end.IsZero() && left < f.Ramp { // it grows mild again
				e.coldPart = min(e.coldPart, float64(left)/float64(f.Ramp))
			}
			e.off = e.off || f.since >= f.Ramp && f.since < f.Ramp+f.kind.outage
		}},
	{Name: "heater-failed", Title: "heater failed", Targets: AtUnit,
		strike: func(e *effects, _ *active, _ float64) { e.heaterFailed = true }},
	{Name: "slope-loss", Title: "slope efficiency of the laser lost", Targets: AtUnit, Size: 20, Min: 1, Max: 60, Unit: "% of slope",
		strike: func(e *effects, _ *active, x float64) { e.slopeLoss = 1 - (1-e.slopeLoss)*(1-x/100) }},
	{Name: "reflection", Title: "light reflected into the laser", Targets: AtLink, OneWay: true, Size: 10, Min: 1, Max: 40, Unit: "dB of laser noise",
		strike: func(e *effects, _ *active, x float64) { e.reflection += budget.DB(x) }},
	{Name: "interference", Title: "strong signal from outside", Targets: AtUnit, Size: 15, Min: 1, Max: 60, Unit: "RF dB",
		strike: func(e *effects, _ *active, x float64) { e.interference += budget.DB(x) }},
	{Name: "feedback", Title: "feedback between the antennas", Targets: AtUnit, Size: 6, Min: 1, Max: 30, Unit: "RF dB",
		strike: func(e *effects, _ *active, x float64) { e.feedback += budget.DB(x) }},
	{Name: "unit-exchanged", Title: "unit exchanged for another", Targets: AtUnit, power: true,
		strike: func(e *effects, f *active, _ float64) { e.generation = f.generation }},
	{Name: "management-lost", Title: "management network lost; the service goes on", Targets: AtUnit | AtSite,
		strike: func(e *effects, _ *active, _ float64) { e.silent = true }},
}

// Kinds returns the table of faults in its fixed order.
func Kinds() []Kind { return append([]Kind(nil), kinds...) }

func kindOf(name string) *Kind {
	for i := range kinds {
		if kinds[i].Name == name {
			return &kinds[i]
		}
	}
	return nil
}
