// Package plant is a simulated plant: the units of a fleet with the physics
// that moves their readings. Lasers have a threshold that follows temperature
// and are held by power control; fibres, connectors and splitters lose light;
// RF levels fall two decibels per optical decibel until the automatic gain
// control runs out; supplies fail behind their twins; a unit that starts in
// the cold warms up first; the sun heats the roof. Faults can be put in by
// hand or from a scenario (see Fault and Scenario).
//
// It guarantees that every value is a function of the seed, the plant's time
// and the faults put in: the same seed gives the same plant, and any moment
// can be looked at in any order. Noise is a hash of point and plant second,
// not drawn from a generator. Values pass through the encoding of the unit's
// model, so they have its resolution. A unit that is read via another one
// sends its readings over the fibre: when its light does not arrive they stay
// as they were last heard where the encoding tells their age, else they are
// missing; they are never zero. The sums are those of package budget; what a
// type of unit has that its model does not tell, such as the laser, is drawn
// from the seed within what is usual in the trade.
package plant

import (
	"fmt"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"lightwell/collector"
	"lightwell/collector/budget"
	"lightwell/collector/model"
)

// Config says which plant and how fast its time runs.
type Config struct {
	Seed  uint64
	Start time.Time // plant time when the plant is made; zero: the wall clock's
	Speed float64   // plant seconds per second; zero: 1
}

// MaxSpeed is a month in a second; beyond it polls could not follow.
const MaxSpeed = 30 * 86400

// A Plant is a simulated fleet. Safe for concurrent use.
type Plant struct {
	config Config
	epoch  time.Time // wall clock time that is config.Start
	fleet  *collector.Fleet
	units  []*unit
	fibres []*fibre
	links  []pair
	byUnit map[string]int
	byLink map[string]int
	agents []*agent
	agent  map[string]*agent

	mu     sync.Mutex // one change of the faults at a time
	nextID FaultID
	faults atomic.Pointer[faultSet]
}

// pair holds the fibres of a link.
type pair struct{ down, up int }

// unit is what does not change about a box.
type unit struct {
	index    int
	id       string
	info     collector.Unit
	model    *model.Model
	key      uint64
	climate  climate
	points   []planned
	ports    []string // of its optics; at least one
	supplies []string // ports of its supplies
	hasAGC   bool
	in       []int // fibres that end here
	out      []int // fibres that begin here
	carrier  int   // fibre that carries its readings; -1: none needed
	nature   nature
	gain     rfPlan
}

// planned is a point with what is worked out once.
type planned struct {
	codec    model.Point
	key      uint64
	optic    int     // place in the unit's ports
	supply   int     // place in the unit's supplies
	least    float64 // of the quantity: darkness
	noise    float64 // standard deviation
	width    int     // how many objects it has
	tellsAge bool    // its encoding carries a time stamp
}

// tellsAge finds out whether a value that is five minutes old says so.
func tellsAge(pt model.Point) bool {
	info, _ := pt.Point.Quantity.Info()
	const now = 1 << 20
	value := (info.Min + info.Max) / 2
	if info.States != nil {
		value = 0
	}
	return pt.Decode(pt.Encode(value, collector.Good, now-30000), now).Age > 0
}

// fibre is one direction of a link.
type fibre struct {
	index    int
	link     int
	from, to int // units
	fromPort int
	toPort   int
	path     collector.Path
	rf       collector.RF
	loss     budget.DB // as built, with splitter and combiner
}

// New makes a plant of a fleet whose units all have a model of models.
func New(fleet *collector.Fleet, models *model.Set, cfg Config) (*Plant, error) {
	now := time.Now()
	if cfg.Start.IsZero() {
		cfg.Start = now
	}
	if cfg.Speed == 0 {
		cfg.Speed = 1
	}
	if !(cfg.Speed > 0 && cfg.Speed <= MaxSpeed) { // NaN too
		return nil, fmt.Errorf("simulated plant: speed %g is not above 0 and up to %g", cfg.Speed, float64(MaxSpeed))
	}
	p := &Plant{config: cfg, epoch: now, fleet: fleet, byUnit: map[string]int{}, byLink: map[string]int{}, agent: map[string]*agent{}}
	for _, u := range fleet.Units {
		m, ok := models.Model(u.Equipment.Model)
		if !ok {
			return nil, fmt.Errorf("simulated plant: unit %q: unknown model %q", u.ID, u.Equipment.Model)
		}
		p.byUnit[u.ID] = len(p.units)
		p.units = append(p.units, p.newUnit(u, m))
	}
	for _, l := range fleet.Links {
		if err := p.addLink(l); err != nil {
			return nil, fmt.Errorf("simulated plant: link %q: %w", l.ID, err)
		}
	}
	p.faults.Store(newFaultSet(p, nil))
	for _, u := range p.units {
		p.telemetry(u)
		p.plan(u)
	}
	if err := p.addAgents(); err != nil {
		return nil, fmt.Errorf("simulated plant: %w", err)
	}
	return p, nil
}

// PlantTime returns the plant's time when the wall clock shows now.
func (p *Plant) PlantTime(now time.Time) time.Time {
	return p.config.Start.Add(time.Duration(float64(now.Sub(p.epoch)) * p.config.Speed))
}

// Start returns the plant time at which the plant was made.
func (p *Plant) Start() time.Time { return p.config.Start }

// wall returns how long after the plant was made its time has advanced by d.
func (p *Plant) wall(d time.Duration) time.Time {
	return p.epoch.Add(time.Duration(float64(d) / p.config.Speed))
}

func (p *Plant) newUnit(info collector.Unit, m *model.Model) *unit {
	u := &unit{index: len(p.units), id: info.ID, info: info, model: m, key: hashText(p.config.Seed, info.ID), carrier: -1}
	site, _ := p.fleet.Site(info.Site)
	u.climate = newClimate(hashText(p.config.Seed, "site "+info.Site), site.Location)
	for _, pt := range m.Points {
		switch pt.Point.Quantity {
		case collector.OpticalReceivePower, collector.OpticalTransmitPower, collector.OpticalReceiveState, collector.LaserBias, collector.LaserState:
			u.ports = append(u.ports, pt.Point.Port)
		case collector.SupplyState, collector.SupplyVoltage:
			u.supplies = append(u.supplies, pt.Point.Port)
		case collector.AGCAttenuation:
			u.hasAGC = true
		}
	}
	if len(u.ports) == 0 {
		u.ports = []string{""}
	}
	slices.Sort(u.ports)
	u.ports = slices.Compact(u.ports)
	for n := range info.Equipment.Supplies - len(u.supplies) { // supplies that the model cannot tell of
		u.supplies = append(u.supplies, fmt.Sprintf("untold %d", n+1))
	}
	slices.Sort(u.supplies)
	u.supplies = slices.Compact(u.supplies)
	u.nature = newNature(u, 0)
	for _, pt := range m.Points {
		info, _ := pt.Point.Quantity.Info()
		u.points = append(u.points, planned{
			least: info.Min, noise: noiseOf[pt.Point.Quantity],
			codec: pt, key: hashText(u.key, pt.Point.String()),
			optic: max(0, slices.Index(u.ports, pt.Point.Port)), supply: slices.Index(u.supplies, pt.Point.Port),
			width: len(pt.Objects()), tellsAge: tellsAge(pt),
		})
	}
	return u
}

// addLink lays the two fibres of a link. Each end takes the next optical port
// of its unit; a unit with one port feeds all its links through a splitter and
// hears them through a combiner.
func (p *Plant) addLink(l collector.Link) error {
	outdoor, ok := p.byUnit[l.Outdoor]
	if !ok {
		return fmt.Errorf("unknown unit %q", l.Outdoor)
	}
	indoor, ok := p.byUnit[l.Indoor]
	if !ok {
		return fmt.Errorf("unknown unit %q", l.Indoor)
	}
	rf := collector.RF{GainBeforeLaserDB: 30, NoiseFigureBeforeLaserDB: 1.5, AntennaNoiseK: 130}
	if l.RF != nil {
		rf = *l.RF
	}
	p.byLink[l.ID] = len(p.links)
	down := p.addFibre(outdoor, indoor, l.Downlink, rf)
	up := p.addFibre(indoor, outdoor, l.Uplink, uplinkRF)
	p.links = append(p.links, pair{down, up})
	return nil
}

// uplinkRF is what stands before an indoor unit's laser: a driver behind the
// ceiling antenna or the modem, at room temperature.
var uplinkRF = collector.RF{GainBeforeLaserDB: 10, NoiseFigureBeforeLaserDB: 3, AntennaNoiseK: 290}

func (p *Plant) addFibre(from, to int, path collector.Path, rf collector.RF) int {
	cable, _ := p.fleet.Cable(path.Cable)
	a, b := p.units[from], p.units[to]
	run := budget.Typical(cable.LengthM/1000, path.Connectors, path.Splices, path.WavelengthNM)
	f := &fibre{index: len(p.fibres), link: len(p.links), from: from, to: to, path: path, rf: rf,
		fromPort: min(len(a.out), len(a.ports)-1), toPort: min(len(b.in), len(b.ports)-1)}
	luck := max(-2, min(2, gauss(hashText(a.key, "fibre to "+b.id))))
	f.loss = max(0.05, run.Loss()+budget.DB(luck)*run.SD())
	for _, end := range []*unit{a, b} { // splitter or combiner at a port that several links share
		if links := len(p.fleet.LinksOf(end.id)); len(end.ports) == 1 {
			f.loss += budget.SplitLoss(links)
		}
	}
	a.out, b.in = append(a.out, f.index), append(b.in, f.index)
	p.fibres = append(p.fibres, f)
	return f.index
}

// telemetry finds the fibre that carries the readings of a unit read via
// another: the one that ends there.
func (p *Plant) telemetry(u *unit) {
	for _, f := range u.out {
		if u.info.Via != "" && p.units[p.fibres[f].to].id == u.info.Via {
			u.carrier = f
		}
	}
}
