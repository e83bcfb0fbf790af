package diagnosis_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/diagnosis"
	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/plant"
)

// layout says how a site is built.
type layout struct {
	links  int
	via    bool // outdoor units are read through indoor ones
	shared bool // one outdoor unit feeds all indoor ones
	cables int
	indoor string  // model of indoor units
	down   float64 // wavelengths
	up     float64
}

// fleet builds the site "s" with links l1, l2, ... between o1, i1 and so on.
func (l layout) fleet(t testing.TB, models *model.Set) *collector.Fleet {
	equipment := func(name string) collector.Equipment {
		m, ok := models.Model(name)
		require.True(t, ok, name)
		return m.Equipment
	}
	f := collector.Fleet{Sites: []collector.Site{{ID: "s", Location: time.UTC}}}
	for c := range l.cables {
		f.Cables = append(f.Cables, collector.Cable{ID: fmt.Sprintf("c%d", c+1), Site: "s", LengthM: 300})
	}
	for i := range l.links {
		n := i + 1
		in := collector.Unit{ID: fmt.Sprintf("i%d", n), Site: "s", Role: collector.Indoor, Equipment: equipment(l.indoor), Address: fmt.Sprintf("192.0.2.%d:161", n)}
		out := collector.Unit{ID: fmt.Sprintf("o%d", n), Site: "s", Role: collector.Outdoor, Equipment: equipment("outdoor-std"), Address: fmt.Sprintf("192.0.2.%d:161", 100+n)}
		if l.via {
			out.Via, out.Address = in.ID, in.Address
		}
		roof := out.ID
		if l.shared {
			roof = "o1"
		}
		f.Units = append(f.Units, in)
		if roof == out.ID {
			f.Units = append(f.Units, out)
		}
		cable := fmt.Sprintf("c%d", i*l.cables/l.links+1)
		f.Links = append(f.Links, collector.Link{
			ID: fmt.Sprintf("l%d", n), Outdoor: roof, Indoor: in.ID, Use: collector.Repeater,
			Downlink: collector.Path{Cable: cable, Strand: 2*i + 1, WavelengthNM: l.down, Connectors: 4, Splices: 2},
			Uplink:   collector.Path{Cable: cable, Strand: 2*i + 2, WavelengthNM: l.up, Connectors: 4, Splices: 2},
		})
	}
	return collector.NewFleet(f)
}

// trial is one case to be found.
type trial struct {
	layout  layout
	faults  []plant.Fault // with their begins after the start of the time watched
	every   time.Duration // from poll to poll
	watched time.Duration // from the fault to the diagnosis
	gap     time.Duration // from the baseline to the fault
	season  time.Duration // of the year at the baseline
	noise   float64       // more than the plant's own, in its standard deviations
	missing float64       // share of points that are missing
	keep    []collector.Quantity
	works   []alarms.Work // times from the fault
	meter   *alarms.MeterReading
	seed    uint64
}

var year = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// play plays a trial and returns what was found at its end.
func (tr *trial) play(t testing.TB, models *model.Set) []alarms.Finding {
	fleet := tr.layout.fleet(t, models)
	start := year.Add(tr.season)
	p, err := plant.New(fleet, models, plant.Config{Seed: tr.seed, Start: start})
	require.NoError(t, err)
	begin := start.Add(30*time.Hour + tr.gap)
	for _, f := range tr.faults {
		_, err := p.Inject(f, begin)
		require.NoError(t, err)
	}
	pl := &player{t: t, trial: tr, plant: p, fleet: fleet, rng: rand.New(rand.NewPCG(tr.seed, 7)), uptime: map[string]float64{}}
	pl.dropPoints()
	levels := pl.baselines(start)
	engine := alarms.NewEngine(alarms.EngineConfig{
		List: alarms.NewList(alarms.ListConfig{}), Baselines: levels, Diagnose: diagnosis.Diagnose,
		Works: func(string, time.Time) []alarms.Work { return pl.works(begin) },
	})
	engine.SetFleet(fleet)
	end := begin.Add(tr.watched)
	first := true
	for at := begin.Add(-5 * tr.every); !at.After(end); at = at.Add(tr.every) {
		for _, u := range fleet.Units {
			engine.Observe(pl.poll(u.ID, at))
		}
		if first || end.Sub(at) < 3*tr.every {
			engine.Evaluate(at)
			first = false
		}
	}
	return engine.Findings("s")
}

// player reads a plant as a poller does.
type player struct {
	t       testing.TB
	trial   *trial
	plant   *plant.Plant
	fleet   *collector.Fleet
	rng     *rand.Rand
	missing map[string]bool
	uptime  map[string]float64
}

// dropPoints chooses the points that this site does not have.
func (p *player) dropPoints() {
	p.missing = map[string]bool{}
	never := append([]collector.Quantity{collector.Uptime, collector.OpticalReceivePower, collector.Temperature}, p.trial.keep...)
	for _, u := range p.fleet.Units {
		for _, pt := range u.Equipment.Points {
			if p.trial.missing > 0 && p.rng.Float64() < p.trial.missing && !slices.Contains(never, pt.Quantity) {
				p.missing[u.ID+"/"+pt.String()] = true
			}
		}
	}
}

// noises are standard deviations of a single measurement, as usual in the
// trade.
var noises = map[collector.Quantity]float64{
	collector.OpticalReceivePower: 0.03, collector.OpticalTransmitPower: 0.02, collector.LaserBias: 0.03,
	collector.RFInputLevel: 0.12, collector.RFOutputLevel: 0.12, collector.RFNoiseFloor: 0.15, collector.LNACurrent: 0.25,
}

func (p *player) poll(unit string, at time.Time) collector.Poll {
	readings, err := p.plant.ReadAt(unit, at)
	poll := collector.Poll{Unit: unit, Started: at, Readings: readings, Err: err}
	for i := range readings {
		r := &readings[i]
		if p.missing[unit+"/"+r.Point.String()] {
			r.Quality = collector.Unavailable
		}
		if sd := noises[r.Point.Quantity]; sd*p.trial.noise > 0 && r.Quality == collector.Good && r.Value > baseline.NoLightDBm {
			r.Value += p.trial.noise * sd * p.rng.NormFloat64()
		}
		if r.Point.Quantity == collector.Uptime && r.Quality == collector.Good {
			poll.Restarted = r.Value < p.uptime[unit]
			p.uptime[unit] = r.Value
		}
	}
	return poll
}

// levels are baselines by unit.
type levels map[string]map[collector.Point]baseline.Level

func (l levels) Levels(unit string) (map[collector.Point]baseline.Level, bool) {
	return l[unit], len(l[unit]) > 0
}

// baselines reads every unit each hour for thirty hours: median, and standard
// deviation from the median absolute deviation.
func (p *player) baselines(start time.Time) levels {
	out := levels{}
	for _, u := range p.fleet.Units {
		values := map[collector.Point][]float64{}
		for h := range 30 {
			for _, r := range p.poll(u.ID, start.Add(time.Duration(h)*time.Hour)).Readings {
				if r.Quality == collector.Good {
					values[r.Point] = append(values[r.Point], r.Value)
				}
			}
		}
		out[u.ID] = map[collector.Point]baseline.Level{}
		temp := median(values[collector.Point{Quantity: collector.Temperature}])
		for pt, v := range values {
			if info, _ := pt.Quantity.Info(); !info.Compared {
				continue
			}
			m := median(v)
			away := make([]float64, len(v))
			for i := range v {
				away[i] = math.Abs(v[i] - m)
			}
			out[u.ID][pt] = baseline.Level{Value: m, Spread: max(1.4826*median(away), 0.008), TempRefC: temp, Samples: len(v), CapturedAt: start}
		}
	}
	return out
}

func median(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	v = slices.Sorted(slices.Values(v))
	return v[len(v)/2]
}

func (p *player) works(begin time.Time) []alarms.Work {
	out := slices.Clone(p.trial.works)
	for i := range out {
		out[i].Begin, out[i].End = begin.Add(-2*time.Hour), begin.Add(time.Minute)
	}
	if m := p.trial.meter; m != nil {
		out = append(out, alarms.Work{ID: "measurement", Begin: begin.Add(time.Hour), Meter: []alarms.MeterReading{*m}})
	}
	return out
}
