package plant

import (
	"math"
	"time"

	"lightwell/collector"
	"lightwell/collector/budget"
)

// moment is the plant at one time. Units are worked out when asked for.
type moment struct {
	p      *Plant
	faults *faultSet
	t      time.Time
	units  []*unitNow // worked out so far
	store  [6]unitNow // an outdoor unit, its four indoor units, and one more
	list   [6]*unitNow
}

func (p *Plant) at(t time.Time) *moment { return p.look(p.faults.Load(), t) }

func (p *Plant) look(faults *faultSet, t time.Time) *moment {
	m := &moment{p: p, faults: faults, t: t}
	m.units = m.list[:0]
	return m
}

// unitNow is a unit at a moment.
type unitNow struct {
	*unit
	nature  *nature
	effects effects
	on      bool
	agent   time.Time // since when its agent runs
	caseC   float64
	heater  string
	warming bool
	ports   [memoPorts]portNow // worked out so far
}

// portNow remembers what has been worked out for an optical port, because
// several points of the unit, and the far ends, ask for it.
type portNow struct {
	lit, came, out bool
	light          lightNow
	arrival        arrival
	radio          radioNow
}

// memoPorts is for how many ports of a unit results are kept; those of more
// are worked out anew.
const memoPorts = collector.MaxIndoorPerOutdoor

// port returns where results of that port are kept.
func (u *unitNow) port(i int) *portNow {
	if i < len(u.ports) {
		return &u.ports[i]
	}
	return &portNow{}
}

// unit returns the unit of that index as it is now.
func (m *moment) unit(index int) *unitNow {
	for _, u := range m.units {
		if u.index == index {
			return u
		}
	}
	u := &unitNow{}
	if n := len(m.units); n < len(m.store) {
		u = &m.store[n]
	}
	m.units = append(m.units, u)
	s := &m.faults.units[index]
	u.unit = m.p.units[index]
	for i := range s.faults {
		s.faults[i].strike(&u.effects, m.t)
	}
	u.nature = s.nature(u.unit, u.effects.generation)
	u.agent = s.agentSince(m.p, u.nature, m.t)
	m.heat(u, s)
	return u
}

// uptime returns how long the agent has run.
func (m *moment) uptime(u *unitNow) time.Duration { return m.t.Sub(u.agent) }

// Heat of a box.
const (
	ownHeatOutdoorK = 6.0
	ownHeatIndoorK  = 12.0
	heaterK         = 12.0 // what the heater adds when it is on all the time
	heaterMarginK   = 5.0  // it holds the case so far above the limit of a cold start
	heatTime        = 20 * time.Minute
)

// heat works out temperature, heater, and whether the laser still waits for
// the case to be warm. A case follows its surroundings with a time constant:
//
//	T(t) = T_end + (T_0 − T_end)·exp(−t/tau)
func (m *moment) heat(u *unitNow, s *struck) {
	on, cut, had := s.power(m.t)
	u.on = on
	limit := u.info.Equipment.Limits.WarmUpBelowC
	bare := m.surroundings(u.unit, &u.effects, m.t) + u.ownHeat()
	u.caseC, u.heater = bare, idleHeater(u.effects.heaterFailed)
	if limit == nil || !u.outdoor() {
		return
	}
	hold, full := *limit+heaterMarginK, bare
	if bare < hold && !u.effects.heaterFailed {
		u.heater, full = collector.StateOn, bare+heaterK
	}
	steady := max(bare, min(hold, full))
	u.caseC = steady
	past := m.t.Sub(cut.end)
	if !had || on && past > 8*heatTime && steady >= *limit {
		return
	}
	start := m.coldStart(u, s, cut)
	if !on {
		u.caseC, u.heater = start, collector.StateOff
		return
	}
	u.caseC = min(approach(start, full, past), max(steady, start)) // full heat until it holds
	u.warming = u.caseC < *limit
}

// idleHeater returns the state of a heater that is not heating.
func idleHeater(failed bool) string {
	if failed {
		return collector.StateFailed
	}
	return collector.StateOff
}

func approach(from, to float64, past time.Duration) float64 {
	return to + (from-to)*math.Exp(-float64(past)/float64(heatTime))
}

// coldStart returns the temperature of a case at the end of a time without
// power, or now when it still lasts.
func (m *moment) coldStart(u *unitNow, s *struck, cut span) float64 {
	until := cut.end
	if until.IsZero() || until.After(m.t) {
		until = m.t
	}
	around := func(t time.Time) (outside float64, e effects) {
		for i := range s.faults {
			s.faults[i].strike(&e, t)
		}
		return m.surroundings(u.unit, &e, t), e
	}
	before, e := around(cut.start)
	warm := before + u.ownHeat()
	if limit := u.info.Equipment.Limits.WarmUpBelowC; !e.heaterFailed {
		warm = max(warm, min(*limit+heaterMarginK, warm+heaterK))
	}
	after, _ := around(until)
	return approach(warm, after, until.Sub(cut.start))
}

// surroundings returns the temperature around a case, in degrees Celsius.
func (m *moment) surroundings(u *unit, e *effects, t time.Time) float64 {
	if !u.outdoor() {
		return u.climate.room(t)
	}
	mild := u.climate.air(t) + u.climate.sun(t)
	return mild + (e.coldC-mild)*e.coldPart
}

func (u *unit) outdoor() bool { return u.info.Role == collector.Outdoor }

func (u *unit) ownHeat() float64 {
	if u.outdoor() {
		return ownHeatOutdoorK
	}
	return ownHeatIndoorK
}

// lightNow is a laser at a moment.
type lightNow struct {
	state   string
	monitor budget.Milliwatt // what its own monitor sees
	fibre   budget.Milliwatt // what enters the fibre
	biasMA  float64
	slope   float64 // W/A into the fibre; 0 when it carries no radio signal
	rin     budget.DB
}

// idle is the light of a laser that waits for its case to be warm: too
// little for the service, enough for the unit's readings to get through.
var idle = budget.Level(-12)

// laser returns the laser at a port.
func (m *moment) laser(u *unitNow, port int) *lightNow {
	p := u.port(port)
	if !p.lit {
		p.lit, p.light = true, m.light(u, port)
	}
	return &p.light
}

// light works out the laser at a port under power control.
func (m *moment) light(u *unitNow, port int) lightNow {
	o, e := &u.nature.optics[port], &u.effects
	switch {
	case !u.on:
		return lightNow{state: collector.StateOff}
	case e.laserDark:
		return lightNow{state: collector.StateFailed}
	}
	l := lightNow{state: collector.StateOn}
	fresh := o.laser.Bias(o.power, u.caseC)
	threshold := o.laser.ThresholdAt(u.caseC)
	slope := o.laser.SlopeAt(u.caseC) * (1 - e.slopeLoss)
	if e.ageing > 0 { // of the extra current a quarter is lost slope, the rest threshold
		drive := fresh - threshold
		slope /= 1 + e.ageing/4
		threshold = fresh*(1+e.ageing) - drive*(1+e.ageing/4)
	}
	power := o.power
	if u.warming {
		l.state, power = collector.StateWarming, idle.Milliwatts()
	}
	l.biasMA = threshold + float64(power)/slope
	if limit := u.biasLimit(); l.biasMA > limit || e.laserFall > 0 {
		l.biasMA = limit
		power = min(power, budget.Milliwatt(max(0, limit-threshold)*slope))
	}
	coupling := budget.DB(o.tracking*(u.caseC-refC)) + e.trackingSwing*budget.DB(u.climate.daily(m.t))
	l.monitor = power.Minus(e.laserFall)
	l.fibre = l.monitor.Minus(-coupling)
	if !u.warming && power > 0 {
		l.slope = slope * (coupling - e.laserFall).Ratio()
	}
	refThreshold := o.laser.Threshold
	l.rin = rinAtRef + budget.RINChange(l.biasMA, threshold, o.laser.Bias(o.power, refC), refThreshold)
	return l
}

// biasLimit returns what the laser's driver can give, in milliamperes.
func (u *unit) biasLimit() float64 {
	if limit := u.info.Equipment.Limits.BiasMaxMA; limit != nil {
		return *limit
	}
	return 60
}

// feedCurrent returns what an antenna's amplifier draws, in milliamperes.
func (u *unit) feedCurrent() float64 {
	low, high := 10.0, 150.0
	if l := u.info.Equipment.Limits.LNAOpenBelowMA; l != nil {
		low = max(*l, 1)
	}
	if l := u.info.Equipment.Limits.LNAShortAboveMA; l != nil {
		high = max(*l, 2*low)
	}
	return math.Sqrt(low * high)
}
