package plant

import (
	"time"

	"lightwell/collector"
	"lightwell/collector/budget"
)

// arrival is what comes in at an optical port.
type arrival struct {
	light    budget.Milliwatt // at the plug
	detected budget.Milliwatt // by the photodiode
	signal   budget.Milliwatt // radio, behind the photodiode's amplifier
	gain     budget.DB        // of the strongest way
	rin      budget.DB        // of the strongest way
	sourceK  float64          // noise before its laser
	ripple   budget.DB
}

// arriving returns what the fibres bring to a port of a unit.
func (m *moment) arriving(u *unitNow, port int) *arrival {
	p := u.port(port)
	if !p.came {
		p.came, p.arrival = true, m.addUp(u, port)
	}
	return &p.arrival
}

func (m *moment) addUp(u *unitNow, port int) arrival {
	a := arrival{gain: -200, rin: rinAtRef}
	for _, i := range u.in {
		f := m.p.fibres[i]
		if f.toPort != port {
			continue
		}
		var e effects
		m.along(f, &e)
		if e.open || e.crossed {
			continue
		}
		from := m.unit(f.from)
		laser := m.laser(from, f.fromPort)
		loss := f.loss + e.loss + budget.BendLoss(e.bend, f.path.WavelengthNM) + e.swing*budget.DB(u.climate.daily(m.t))
		light := laser.fibre.Minus(loss)
		a.light += light
		if u.effects.receiverDark {
			continue
		}
		a.detected += light.Minus(u.effects.receiverFall)
		if laser.slope == 0 || light == 0 {
			continue
		}
		gain := budget.LinkGain(laser.slope, u.nature.responsivity, loss+u.effects.receiverFall)
		in := m.radioIn(from)
		a.signal += in.Plus(gain + u.nature.postGain).Milliwatts()
		a.ripple = max(a.ripple, e.rippleSwing)
		if gain > a.gain {
			a.gain, a.rin, a.sourceK = gain, laser.rin+e.reflection, noiseTemperature(f.rf)
		}
	}
	return a
}

// along adds up the faults of a fibre.
func (m *moment) along(f *fibre, e *effects) {
	list := m.faults.fibres[f.index]
	for i := range list {
		list[i].strike(e, m.t)
	}
}

// noiseTemperature returns the noise at a laser's input, in kelvins.
func noiseTemperature(rf collector.RF) float64 {
	factor := budget.DB(rf.NoiseFigureBeforeLaserDB).Ratio()
	return budget.DB(rf.GainBeforeLaserDB).Ratio() * (rf.AntennaNoiseK + budget.RefTempK*(factor-1))
}

// feedLoss is what an antenna's amplifier without its current loses.
const feedLoss = 35

// radioIn returns the level at a unit's radio input. It wanders a little, as
// satellites and users do.
func (m *moment) radioIn(u *unitNow) budget.DBm {
	e := &u.effects
	level := budget.Level(u.nature.rfIn + 0.2*smooth(u.key, m.t, 10*time.Minute)).Minus(e.rfLoss).Plus(e.interference)
	if e.feedback > 0 {
		level = level.Plus(e.feedback * budget.DB(1+0.5*gauss(m.tick(u.key))))
	}
	if e.feedOpen || e.feedShort {
		level = level.Minus(feedLoss)
	}
	return level
}

// rfPlan is what a unit's gain control was set to when it was built.
type rfPlan struct{ target budget.DBm }

// Gain control takes part of the gain when all is well, so that it can hold
// the output while 4 dB of light are lost.
const (
	agcNormal = budget.DB(8)
	agcRange  = budget.DB(24)
)

// plan sets the gain control of a unit from the plant as built.
func (p *Plant) plan(u *unit) {
	if u.hasAGC {
		m := p.at(p.config.Start)
		raw, _ := m.arriving(m.unit(u.index), 0).signal.DBm()
		u.gain.target = raw.Minus(agcNormal)
	}
}

// bandwidth of a level detector behind the photodiode, in dB over one hertz.
var bandwidth = budget.Decibels(40e6)

// radioNow is a unit's radio output.
type radioNow struct {
	level, floor budget.DBm // floor: dBm/Hz
	agc          budget.DB
}

// radioOut returns the radio output for what arrives at a port.
func (m *moment) radioOut(u *unitNow, port int) *radioNow {
	p := u.port(port)
	if !p.out {
		p.out, p.radio = true, m.radio(u, port)
	}
	return &p.radio
}

func (m *moment) radio(u *unitNow, port int) radioNow {
	a := m.arriving(u, port)
	e := &u.effects
	noise := budget.Noise{SourceK: a.sourceK, Gain: a.gain, CurrentMA: u.nature.responsivity * float64(a.detected), RIN: a.rin, ReceiverFactor: 1.5}
	floor := noise.Density().Plus(u.nature.postGain + m.disturbance(u, port))
	sum := a.signal + floor.Plus(bandwidth).Milliwatts()
	level, _ := sum.DBm()
	level = level.Plus(a.ripple * budget.DB(gauss(m.tick(u.key^7))))
	if e.feedback > 0 {
		level = level.Plus(e.feedback * budget.DB(0.3*gauss(m.tick(u.key^5))))
	}
	var agc budget.DB
	if u.hasAGC {
		agc = max(0, min(agcRange, -level.Below(u.gain.target)))
	}
	return radioNow{level.Minus(agc), floor.Minus(agc), agc}
}

// disturbance returns by how much intermodulation and feedback lift the noise
// floor of a port: half a decibel for each decibel of too much signal.
func (m *moment) disturbance(u *unitNow, port int) budget.DB {
	lift := u.effects.feedback
	for _, i := range u.in {
		if f := m.p.fibres[i]; f.toPort == port {
			e := &m.unit(f.from).effects
			lift = max(lift, e.interference, e.feedback)
		}
	}
	return lift / 2
}

// tick scrambles a key with the plant second, for noise.
func (m *moment) tick(key uint64) uint64 { return mix(key ^ mix(uint64(m.t.Unix()))) }

// readable tells whether the readings of a unit reach the agent that shows
// them.
func (m *moment) readable(u *unitNow) bool {
	if u.carrier < 0 {
		return u.on
	}
	f := m.p.fibres[u.carrier]
	level, lit := m.arriving(m.unit(f.to), f.toPort).detected.DBm()
	return u.on && lit && level.Above(telemetryFloor) > 0
}

// telemetryFloor is the least light that carries readings, darkness the least
// that a power monitor sees.
var (
	telemetryFloor = budget.Level(-28)
	signalFloor    = budget.Level(-25)
	darkness       = budget.Level(-38)
)

// monitored returns what a monitor says of a power.
func monitored(light budget.Milliwatt, offset budget.DB, dark float64) float64 {
	level, lit := light.DBm()
	if level = level.Plus(offset); !lit || level.Below(darkness) > 0 {
		return dark
	}
	return level.Float()
}
