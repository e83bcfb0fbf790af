package rules

import (
	"slices"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/margin"
	"lightwell/collector"
)

// light is what is known of the light at one end of a fibre.
type light uint8

const (
	unknown light = iota
	lit
	dark
)

// relightDBm is where a dark end counts as lit again: two decibels above the
// threshold, so that a receiver at its floor does not chatter.
const relightDBm = baseline.NoLightDBm + 2

// seen is a finding with the time and the weight of its evidence.
type seen struct {
	light  light
	at     time.Time
	direct bool // the unit's own state says so, not only a level
}

// An end is an optical port of a unit.
type end struct {
	unit *alarms.UnitView
	port string
}

// A fibre is one direction of a link, with the light at both ends.
type fibre struct {
	link     *collector.Link
	path     *collector.Path
	name     string // downlink or uplink
	from, to end
	sent     seen // at the transmitter
	arrived  seen // at the receiver
	shared   bool // other fibres end at the same receiver, through a combiner
}

// optics is the light of a site.
type optics struct {
	view   *alarms.View
	fibres []fibre
	blind  []*alarms.UnitView // units whose readings travel over a fibre that is dark: what they say is old

	margins map[string]*margin.Margin // by link, once asked for; nil: not known
}

// look finds the fibres of the site and what is known of the light in them.
func look(v *alarms.View) *optics {
	if known, ok := v.Memo.(*optics); ok {
		return known
	}
	o := &optics{view: v}
	v.Memo = o
	links := v.Fleet.LinksAt(v.Site.ID)
	o.fibres = make([]fibre, 0, 2*len(links))
	used := map[*alarms.UnitView]int{} // links met so far, by unit: a link takes the next port
	for i := range links {
		l := &links[i]
		out, in := v.Unit(l.Outdoor), v.Unit(l.Indoor)
		if out == nil || in == nil || out == in {
			continue
		}
		o.lay(l, &l.Downlink, "downlink", out, in, used)
		o.lay(l, &l.Uplink, "uplink", in, out, used)
		used[out]++
		used[in]++
	}
	for i := range o.fibres {
		f := &o.fibres[i]
		f.arrived = f.to.received(v)
		for j := range o.fibres {
			f.shared = f.shared || i != j && o.fibres[j].to == f.to
		}
		if f.arrived.light == dark && f.from.unit.Unit.Via == f.to.unit.Unit.ID {
			o.blind = append(o.blind, f.from.unit)
		}
	}
	for i := range o.fibres {
		f := &o.fibres[i]
		if o.isBlind(f.to.unit) {
			f.arrived = seen{}
		}
		if !o.isBlind(f.from.unit) {
			f.sent = f.from.transmitted(v)
		}
	}
	return o
}

func (o *optics) lay(l *collector.Link, path *collector.Path, name string, from, to *alarms.UnitView, used map[*alarms.UnitView]int) {
	o.fibres = append(o.fibres, fibre{
		link: l, path: path, name: name,
		from: end{from, nthPort(from, used[from], collector.OpticalTransmitPower, collector.LaserState)},
		to:   end{to, nthPort(to, used[to], collector.OpticalReceivePower, collector.OpticalReceiveState)},
	})
}

// nthPort returns the port that the n-th link of a unit uses for quantity a or
// b. A unit with one port feeds, or hears, all its links through it.
func nthPort(u *alarms.UnitView, n int, a, b collector.Quantity) string {
	var ports []string
	for _, p := range u.Unit.Equipment.Points {
		if (p.Quantity == a || p.Quantity == b) && !slices.Contains(ports, p.Port) {
			ports = append(ports, p.Port)
		}
	}
	if len(ports) == 0 {
		return ""
	}
	slices.Sort(ports)
	return ports[min(n, len(ports)-1)]
}

func (o *optics) isBlind(u *alarms.UnitView) bool { return slices.Contains(o.blind, u) }

// received tells whether light arrives at the receiver.
func (e end) received(v *alarms.View) seen {
	said, at := state(e.unit, collector.Point{Quantity: collector.OpticalReceiveState, Port: e.port})
	if said == collector.StateLost {
		return seen{dark, at, true}
	}
	power := collector.Point{Quantity: collector.OpticalReceivePower, Port: e.port}
	if level, at, ok := measured(e.unit, power); ok {
		return seen{bright(v, level, e.lostKey), at, false}
	}
	if said == collector.StateGood {
		return seen{lit, at, true}
	}
	return seen{}
}

// transmitted tells whether the laser gives light.
func (e end) transmitted(v *alarms.View) seen {
	said, at := state(e.unit, collector.Point{Quantity: collector.LaserState, Port: e.port})
	if said == collector.StateFailed || said == collector.StateOff {
		return seen{dark, at, true}
	}
	power := collector.Point{Quantity: collector.OpticalTransmitPower, Port: e.port}
	if level, at, ok := measured(e.unit, power); ok {
		return seen{bright(v, level, e.laserKey), at, false}
	}
	if said == collector.StateOn {
		return seen{lit, at, true}
	}
	return seen{}
}

// bright judges a level; between dark and lit again it is what the alarm says
// that it was.
func bright(v *alarms.View, dbm float64, alarm func() alarms.Key) light {
	if dbm <= baseline.NoLightDBm || dbm < relightDBm && isActive(v, alarm()) {
		return dark
	}
	return lit
}

// receiver returns the point that stands for the receiver in alarms: its
// power, or its state where the model gives no power.
func (e end) receiver() collector.Point {
	return e.point(collector.OpticalReceivePower, collector.OpticalReceiveState)
}

// laser returns the point that stands for the transmitter in alarms.
func (e end) laser() collector.Point {
	return e.point(collector.OpticalTransmitPower, collector.LaserState)
}

func (e end) point(first, second collector.Quantity) collector.Point {
	p := collector.Point{Quantity: first, Port: e.port}
	if !has(e.unit, p) {
		p.Quantity = second
	}
	return p
}

func (e end) lostKey() alarms.Key  { return pointKey(SignalLost, e.unit, e.receiver()) }
func (e end) laserKey() alarms.Key { return pointKey(LaserFailed, e.unit, e.laser()) }

// consequences returns the keys of the alarms that follow at the far end when
// no light comes through the fibre.
func (f *fibre) consequences() []alarms.Key {
	out := append([]alarms.Key{f.to.lostKey()}, f.weakness()...)
	if f.from.unit.Unit.Via == f.to.unit.Unit.ID { // its readings come this way
		out = append(out, unreachableKey(f.from.unit))
	}
	return out
}

// weakness is what follows from light that is weak.
func (f *fibre) weakness() []alarms.Key {
	var out []alarms.Key
	if p := f.to.receiver(); p.Quantity == collector.OpticalReceivePower {
		out = append(out, pointKey(SignalDegraded, f.to.unit, p))
	}
	pointsOf(f.to.unit, collector.RFOutputLevel, func(p collector.Point) {
		if p.Port == "" || p.Port == f.to.port {
			out = append(out, pointKey(RFLevelDeviation, f.to.unit, p))
		}
	})
	return out
}

// settling tells that the far end of the fibre has not caught up with light
// that was there at the time given: its alarm has yet to clear, or its last
// reading is older. Until then a cause that ends would leave its consequences
// standing alone.
func (f *fibre) settling(v *alarms.View, at time.Time) bool {
	switch f.arrived.light {
	case lit:
		return isActive(v, f.to.lostKey())
	case dark:
		return f.arrived.at.Before(at) && isActive(v, f.to.lostKey())
	}
	return false
}
