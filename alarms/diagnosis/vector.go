package diagnosis

import (
	"errors"
	"math"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/collector"
	"lightwell/collector/budget"
)

// cell is one entry of the vector: what was seen, how sure that is, and what
// the causes found so far make one expect.
type cell struct {
	signal Signal
	known  bool
	odd    bool // not what is expected
	d      float64
	sd     float64 // of the measurement, and of what moves it in health
	mean   float64 // expected: by what was found so far
	vari   float64 // variance that adds to it
	base   float64 // log likelihood of d under that
	shape  alarms.Shape
	since  time.Time
	unit   int
	point  collector.Point
}

// Standard deviations that levels have in health beside the noise that their
// baseline measured: weather, ageing of monitors, traffic. Common practice:
// monitors repeat within 0.1 to 0.3 dB over temperature.
var healthSD = [signals]float64{
	Received: 0.1, RadioOut: 0.3, Noise: 0.35, RadioUnsteady: 0.12, Swing: 0.06, Metered: 0.4,
	Sent: 0.07, Bias: 1.5, RadioIn: 0.3, InputUnsteady: 0.15, FeedCurrent: 2.5,
}

// look makes the vector of a site.
func look(v *alarms.View) *site {
	s := wire(v)
	s.atLaser = len(s.receivers) * perReceiver
	s.atUnit = s.atLaser + len(s.lasers)*perLaser
	s.cells = make([]cell, s.atUnit+len(s.units)*perUnit)
	s.odd = make([]bool, len(s.receivers)+len(s.lasers)+len(s.units))
	blind := s.blind()
	for i := range s.receivers {
		if p := &s.receivers[i]; !blind[p.unit] {
			s.receive(i, p)
		}
	}
	for i := range s.lasers {
		if p := &s.lasers[i]; !blind[p.unit] {
			s.send(i, p)
		}
	}
	for i := range s.units {
		s.reach(i, blind[i])
		if !blind[i] {
			s.look(i)
		}
	}
	s.dip = s.findDip()
	for i := range s.cells {
		s.cells[i].expect()
	}
	return s
}

// blind finds the units whose readings travel over a fibre that is dark: what
// they say is old.
func (s *site) blind() []bool {
	out := make([]bool, len(s.units))
	for i := range s.fibres {
		f := &s.fibres[i]
		if s.carries(f) {
			dark, known := s.darkness(f.to, s.receivers[f.receiver].name)
			out[f.from] = out[f.from] || known && dark
		}
	}
	return out
}

// darkness tells whether no light arrives at a port.
func (s *site) darkness(unit int, name string) (dark, known bool) {
	u := s.units[unit]
	if v, _, ok := u.Good(collector.Point{Quantity: collector.OpticalReceiveState, Port: name}); ok && collector.OpticalReceiveState.StateName(v) == collector.StateLost {
		return true, true
	} else if ok {
		known = true
	}
	if v, _, ok := u.Good(collector.Point{Quantity: collector.OpticalReceivePower, Port: name}); ok {
		return v <= baseline.NoLightDBm, true
	}
	return false, known
}

// set fills a cell with a state.
func (s *site) set(sig Signal, index, unit int, is bool, p collector.Point) {
	c := &s.cells[s.cellOf(sig, index)]
	c.signal, c.known, c.unit, c.point = sig, true, unit, p
	if is {
		c.d = 1
	}
}

// put fills a cell with a deviation.
func (s *site) put(sig Signal, index, unit int, d, sd float64, pv *alarms.PointView) {
	if math.IsNaN(d) || math.IsInf(d, 0) {
		return
	}
	c := &s.cells[s.cellOf(sig, index)]
	c.signal, c.known, c.unit, c.d, c.sd = sig, true, unit, d, math.Hypot(sd, healthSD[sig])
	if pv != nil {
		c.point, c.since = pv.Reading.Point, pv.Past.Left
		c.shape = course(pv)
	}
}

// course tells how a deviation came about: by the short memory, and where that
// saw too little of it by the long one.
func course(pv *alarms.PointView) alarms.Shape {
	shape, t := pv.Shape(), pv.Trend
	switch {
	case shape != alarms.ShapeUnknown || t == nil:
		return shape
	case t.Intermittent:
		return alarms.ShapeComes
	case t.Step:
		return alarms.ShapeStep
	case t.Drift:
		return alarms.ShapeRamp
	}
	return shape
}

// compared returns what is known of a point that has a baseline.
func compared(u *alarms.UnitView, q collector.Quantity, name string) (alarms.PointView, bool) {
	pv, ok := u.Points[collector.Point{Quantity: q, Port: name}]
	if !ok && name != "" {
		pv, ok = u.Points[collector.Point{Quantity: q}]
	}
	return pv, ok && pv.Compared && u.Up()
}

func (s *site) receive(i int, p *port) {
	u := s.units[p.unit]
	power := collector.Point{Quantity: collector.OpticalReceivePower, Port: p.name}
	dark, known := s.darkness(p.unit, p.name)
	if known {
		s.set(Dark, i, p.unit, dark, power)
		s.cells[s.cellOf(Dark, i)].since = u.Points[power].Past.Left
	}
	for _, w := range s.view.Works {
		for _, m := range w.Meter {
			if m.Unit == u.Unit.ID && m.Port == p.name {
				s.put(Metered, i, p.unit, m.DBm-m.ExpectedDBm, 0.1, nil)
			}
		}
	}
	if dark {
		return // its RF is the floor, and says no more
	}
	if pv, ok := compared(u, collector.OpticalReceivePower, p.name); ok {
		s.put(Received, i, p.unit, pv.Deviation, pv.Baseline.Spread, &pv)
	}
	if d := u.Points[power].Daily; d != nil && d.Share > 0 && u.Up() {
		amplitude := d.Amplitude
		if d.Share < 0.5 { // not the course of a day
			amplitude = 0
		}
		s.put(Swing, i, p.unit, amplitude, 0, nil)
		s.cells[s.cellOf(Swing, i)].point = power
	}
	s.radio(i, p)
}

// slopeTempK is how a laser's slope follows its case: slope goes with
// exp(-T/200 K), and RF with the square of it (T1 100 to 200 K; from memory).
const slopeTempK = 200.0

// radio fills in the RF cells of a receiver, with what the gain control took
// out put back, and what the laser's temperature explains taken out.
func (s *site) radio(i int, p *port) {
	u := s.units[p.unit]
	agc, hasAGC := compared(u, collector.AGCAttenuation, p.name)
	spread := 0.0
	if hasAGC {
		spread = agc.Baseline.Spread
	} else if has(u, collector.AGCAttenuation) {
		return // held by a gain control that cannot be read
	}
	warmer, unsure := s.warmer(s.fibres[p.fibres[0]].laser)
	if pv, ok := compared(u, collector.RFOutputLevel, p.name); ok {
		d := pv.Deviation + agc.Deviation + 20*math.Log10E*warmer/slopeTempK
		s.put(RadioOut, i, p.unit, d, math.Hypot(math.Hypot(pv.Baseline.Spread, spread), 0.03*math.Abs(warmer)+0.05*unsure), &pv)
		if rough := pv.Past.Rough(); rough > 0 {
			calm := math.Hypot(pv.Baseline.Spread, spread)
			s.put(RadioUnsteady, i, p.unit, max(0, math.Hypot(rough, agc.Past.Rough())-calm), 0, &pv)
		}
	}
	if pv, ok := compared(u, collector.RFNoiseFloor, p.name); ok {
		s.put(Noise, i, p.unit, pv.Deviation+agc.Deviation, math.Hypot(math.Hypot(pv.Baseline.Spread, spread), 0.05*math.Abs(warmer)+0.05*unsure), &pv)
	}
}

// warmer returns by how many kelvins a laser is warmer than at its baseline,
// and how unsure that is.
func (s *site) warmer(laser int) (kelvin, unsure float64) {
	p := &s.lasers[laser]
	u := s.units[p.unit]
	t, _, ok := u.Good(collector.Point{Quantity: collector.Temperature})
	if !ok {
		return 0, 10
	}
	for _, q := range []collector.Quantity{collector.LaserBias, collector.OpticalTransmitPower, collector.OpticalReceivePower} {
		if pv, ok := u.Points[collector.Point{Quantity: q, Port: p.name}]; ok && pv.Baseline != nil {
			return t - pv.Baseline.TempRefC, 0
		}
	}
	return 0, 10
}

func (s *site) send(i int, p *port) {
	u := s.units[p.unit]
	power := collector.Point{Quantity: collector.OpticalTransmitPower, Port: p.name}
	state := collector.Point{Quantity: collector.LaserState, Port: p.name}
	level, _, measured := u.Good(power)
	said, _, told := u.Good(state)
	name := collector.LaserState.StateName(said)
	dark := measured && level <= baseline.NoLightDBm || told && (name == collector.StateFailed || name == collector.StateOff)
	if measured || told {
		s.set(LaserDark, i, p.unit, dark, power)
	}
	if told {
		s.set(Warming, i, p.unit, name == collector.StateWarming, state)
	}
	if pv, ok := compared(u, collector.OpticalTransmitPower, p.name); ok && !dark {
		s.put(Sent, i, p.unit, pv.Deviation, pv.Baseline.Spread, &pv)
	}
	s.bias(i, p)
}

// usual is a laser of the trade: what is known of one whose own model was not
// learnt. Threshold 8 mA and 0.2 W/A at 25 °C, threshold e-fold per 60 K (50
// to 70 K for InGaAsP/InP at 1300 to 1550 nm), slope per 200 K.
var usual = budget.Laser{RefC: 25, Threshold: 8, ThresholdCharK: 60, Slope: 0.2, SlopeCharK: 200}

// biasPerK is how unsure the course of a usual laser is, in percent per
// kelvin: its threshold may be a fifth more or less, and 60 K may be 53 to 70.
const biasPerK = 0.2

// warmed returns the bias that one of biasMA at fromC has at toC, by the usual
// threshold and what is left of it for the light: I(T) = I_th(T) + P/slope(T).
func warmed(biasMA, fromC, toC float64) float64 {
	drive := max(biasMA-usual.ThresholdAt(fromC), biasMA/5)
	threshold := biasMA - drive
	return threshold*usual.ThresholdAt(toC)/usual.ThresholdAt(fromC) + drive*usual.SlopeAt(fromC)/usual.SlopeAt(toC)
}

// laserFresh is how old the verdict of a laser's own model may be.
const laserFresh = 3 * 24 * time.Hour

// bias fills in the bias of a laser against what its temperature explains.
func (s *site) bias(i int, p *port) {
	u := s.units[p.unit]
	pv, ok := compared(u, collector.LaserBias, p.name)
	if !ok || pv.Baseline.Value <= 0 {
		return
	}
	if limit := u.Unit.Equipment.Limits.BiasMaxMA; limit != nil {
		s.set(BiasAtLimit, i, p.unit, pv.Reading.Value >= 0.97**limit, pv.Reading.Point)
	}
	if l := pv.Laser; l != nil && s.view.Now.Sub(l.Judged) < laserFresh { // its own model, learnt from its first weeks
		s.put(Bias, i, p.unit, 100*l.Index, 100*l.IndexSE, &pv)
		return
	}
	expected, unsure := pv.Baseline.Value, 0.0
	t, _, hasTemp := u.Good(collector.Point{Quantity: collector.Temperature})
	switch {
	case pv.Baseline.TempCoeff != 0:
		expected = pv.Reading.Value - pv.Deviation
	case hasTemp:
		expected = warmed(expected, pv.Baseline.TempRefC, t)
		unsure = biasPerK * math.Abs(t-pv.Baseline.TempRefC)
	default:
		unsure = 8
	}
	sd := 100 * pv.Baseline.Spread / pv.Baseline.Value
	s.put(Bias, i, p.unit, 100*(pv.Reading.Value/expected-1), math.Hypot(sd, unsure), &pv)
}

// reach fills in whether a unit can be read. What is only stale is not known.
func (s *site) reach(i int, blind bool) {
	u := s.units[i]
	if u.Polled.IsZero() {
		return
	}
	silent := u.Err != nil && !errors.Is(u.Err, collector.ErrRefused)
	if u.Err == nil {
		readable := len(u.Points) == 0
		for _, pv := range u.Points {
			readable = readable || pv.Reading.Quality != collector.Unavailable
		}
		silent = !readable
	}
	if blind && !silent {
		return
	}
	s.set(Silent, i, i, silent, collector.Point{})
	s.cells[s.cellOf(Silent, i)].since = u.FirstFailure
	if !silent && !u.StartedAt.IsZero() {
		s.set(Restarted, i, i, s.view.Now.Sub(u.StartedAt) < alarms.RecentStart, collector.Point{Quantity: collector.Uptime})
		s.cells[s.cellOf(Restarted, i)].since = u.StartedAt
	}
}

// look fills in the other cells of a unit.
func (s *site) look(i int) {
	u := s.units[i]
	for _, p := range u.Unit.Equipment.Points {
		v, _, ok := u.Good(p)
		if !ok {
			continue
		}
		switch p.Quantity {
		case collector.SupplyState:
			failed := p.Quantity.StateName(v) == collector.StateFailed || p.Quantity.StateName(v) == collector.StateAbsent
			if c := &s.cells[s.cellOf(SupplyFailed, i)]; !c.known || failed {
				s.set(SupplyFailed, i, i, failed, p)
			}
		case collector.AntennaFeedState:
			s.set(FeedOpen, i, i, p.Quantity.StateName(v) == collector.StateOpen, p)
			s.set(FeedShort, i, i, p.Quantity.StateName(v) == collector.StateShort, p)
		case collector.Temperature:
			if limit := u.Unit.Equipment.Limits.WarmUpBelowC; limit != nil && p.Port == "" {
				s.set(Cold, i, i, v < *limit+3, p)
			}
		case collector.LNACurrent:
			if pv := u.Points[p]; pv.Compared && pv.Baseline.Value > 0 {
				s.put(FeedCurrent, i, i, 100*pv.Deviation/pv.Baseline.Value, 100*pv.Baseline.Spread/pv.Baseline.Value, &pv)
			}
		case collector.RFInputLevel:
			if pv := u.Points[p]; pv.Compared {
				s.put(RadioIn, i, i, pv.Deviation, pv.Baseline.Spread, &pv)
				s.put(InputUnsteady, i, i, max(0, pv.Past.Rough()-pv.Baseline.Spread), 0, &pv)
			}
		}
	}
}

func has(u *alarms.UnitView, q collector.Quantity) bool {
	for _, p := range u.Unit.Equipment.Points {
		if p.Quantity == q {
			return true
		}
	}
	return false
}

// dipWindow is how close the starts of several boxes lie when the mains
// dipped.
const dipWindow = time.Minute

// findDip returns the largest group of units that started anew together.
func (s *site) findDip() []int {
	var best []int
	for i, u := range s.units {
		if s.cells[s.cellOf(Restarted, i)].d == 0 {
			continue
		}
		var group []int
		for j, w := range s.units {
			if since := w.StartedAt.Sub(u.StartedAt); s.cells[s.cellOf(Restarted, j)].d == 1 && since >= 0 && since < dipWindow {
				group = append(group, j)
			}
		}
		if len(group) > len(best) {
			best = group
		}
	}
	return best
}
