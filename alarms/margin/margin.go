// Package margin tells how much light a link in service can still lose before
// its service fails, and whether a link that is commissioned is what was
// planned.
//
// It is pure. What is lost is the change since the accepted baseline, because
// a power monitor repeats itself within tenths of a decibel but may be off by
// decibels; the absolute loss comes from the plan, corrected only as far as
// the monitors contradict it by more than their error. What cannot be known
// is not given. Its data are the readings and baselines of a site and the plan
// of package plan.
package margin

import (
	"fmt"
	"math"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/collector"
	"lightwell/collector/budget"
	"lightwell/collector/plan"
)

// A Margin is what one link has left, in the direction that fails first.
type Margin struct {
	Link      string
	Direction string     // downlink or uplink
	Lost      float64    // optical dB since commissioning; negative: gained
	LeftDB    float64    // optical dB until the service fails; not above 0: it has failed
	LeftLow   float64    // the least and the most it may be, where the noise is known at
	LeftHigh  float64    // one loss only; +Inf: no end is known
	By        plan.Cause // what ends the service
	Service   bool       // the three below are known: the downlink's radio plan is
	CN0       budget.Range
	CN0Lost   budget.Range // since commissioning
	CN0Min    float64
	Seen      time.Time // when the light it rests on was measured
}

// Units finds the view of a unit; nil: not known.
type Units func(id string) *alarms.UnitView

// Of returns the margin of a link as a site sees it; see Link.
func Of(v *alarms.View, link collector.Link) (Margin, bool) { return Link(v.Fleet, v.Unit, link) }

// Link returns the margin of a link; ok is false while no direction has a good
// reading with a baseline and something known that would end its service. A
// dark fibre has no margin: signal loss has alarms of its own.
func Link(f *collector.Fleet, units Units, link collector.Link) (m Margin, ok bool) {
	p := plan.Of(f, link)
	return Planned(&p, units)
}

// Planned is Link for who keeps the plan of the link and asks again and again.
func Planned(p *plan.Link, units Units) (m Margin, ok bool) {
	for i := range p.Directions {
		d := &p.Directions[i]
		s, known := survey(d, units)
		if s.dark {
			return Margin{}, false
		}
		if !known {
			continue
		}
		if d.Radio() {
			m.Service, m.CN0Min = true, float64(d.Service.CN0Min)
			m.CN0, m.CN0Lost = d.Service.CN0(d.Noise, s.now()), d.Service.CN0Lost(d.Noise, s.now(), s.before)
		}
		fails := d.Fails(s.state)
		left := fails.Loss.Middle - float64(s.now())
		if !fails.Bounded() || ok && left >= m.LeftDB {
			continue
		}
		ok = true
		m.Link, m.Direction, m.By, m.Seen = p.ID, d.Name, fails.By, s.seen
		m.Lost, m.LeftDB, m.LeftLow, m.LeftHigh = float64(s.lost), left, fails.Loss.Low-float64(s.now()), fails.Loss.High-float64(s.now())
	}
	return m, ok
}

// surveyed is one direction in service.
type surveyed struct {
	before budget.DB // optical loss at commissioning
	lost   budget.DB // since
	state  plan.State
	seen   time.Time
	dark   bool
}

func (s surveyed) now() budget.DB { return max(0, s.before+s.lost) }

// survey reads one direction; ok is false when what it has lost is not known.
// A receiver that several fibres share tells of none of them.
func survey(d *plan.Direction, units Units) (s surveyed, ok bool) {
	to := units(d.To.Unit)
	level, _, good := to.Good(d.Receiver())
	if !good {
		return s, false
	}
	if s.dark = baseline.Dark(collector.OpticalReceivePower, level); s.dark || d.To.Links > 1 {
		return s, false
	}
	pv := to.Points[d.Receiver()]
	if pv.Baseline == nil || !pv.Compared || math.IsNaN(pv.Deviation) {
		return s, false
	}
	var sent *baseline.Level
	if from := units(d.From.Unit); from != nil {
		sent = from.Points[d.Transmitter()].Baseline
	}
	was := *pv.Baseline
	earlier := lostBefore(pv)
	was.Value += float64(earlier) // what the first baseline said
	s.before, s.lost, s.seen = commissioned(d, sent, &was), earlier-budget.DB(pv.Deviation), pv.Reading.Taken.Add(-pv.Reading.Age)
	s.state = d.Planned()
	if reserve := d.Receives.AGCReserveDB; reserve != nil {
		s.state.ControlEnds = s.before + budget.AGCHolds(budget.DB(*reserve))
	}
	if least := d.Limits.ReceivePowerMinDBm; least != nil {
		s.state.ReceiverEnds = s.now() + budget.Level(level).Above(budget.Level(*least))
	}
	for _, port := range [...]string{d.To.Port, ""} { // what it held when it was accepted: now it also makes up for the antenna
		if agc := to.Points[collector.Point{Quantity: collector.AGCAttenuation, Port: port}].Baseline; agc != nil {
			s.state.ControlEnds = s.before + earlier + budget.AGCHolds(budget.DB(agc.Value))
			break
		}
	}
	return s, true
}

// lostBefore returns what a receiver had lost, since the first day, when the
// baseline in force was accepted: a new baseline gives no margin back.
func lostBefore(pv alarms.PointView) budget.DB {
	if pv.Trend == nil {
		return 0
	}
	return budget.DB(max(0, pv.Trend.SinceFirstDB-pv.Trend.LostDB))
}

// commissioned returns the optical loss at commissioning: the plan's mean, or
// what the monitors said then where both differ by more than these may be off.
func commissioned(d *plan.Direction, sent, received *baseline.Level) budget.DB {
	loss := d.Mean()
	if sent != nil && received != nil {
		measured := budget.Level(sent.Value).Above(budget.Level(received.Value))
		off := budget.DB(d.Transmits.MonitorErrorDB + d.Receives.MonitorErrorDB)
		loss = min(max(loss, measured-off), measured+off)
	}
	return max(0, loss)
}

// Sentence says the margin to people: "3.0 dB lost since commissioning; about
// 8 dB left before C/N0 falls to 37 dB-Hz".
func (m Margin) Sentence() string {
	var b strings.Builder
	switch {
	case m.Lost < 0.05:
		b.WriteString("nothing lost since commissioning; ")
	default:
		fmt.Fprintf(&b, "%.1f dB lost since commissioning; ", m.Lost)
	}
	switch {
	case m.LeftDB <= 0:
		fmt.Fprintf(&b, "%.1f dB beyond the point where %s", math.Abs(m.LeftDB), m.end())
	case m.LeftLow != m.LeftHigh && !math.IsInf(m.LeftHigh, 1):
		fmt.Fprintf(&b, "between %s and %s left before %s", size(max(0, m.LeftLow)), size(m.LeftHigh), m.end())
	case m.LeftLow != m.LeftHigh:
		fmt.Fprintf(&b, "at least %s left before %s", size(max(0, m.LeftLow)), m.end())
	default:
		fmt.Fprintf(&b, "about %s left before %s", size(m.LeftDB), m.end())
	}
	return b.String()
}

func (m Margin) end() string {
	switch m.By {
	case plan.ByNoise:
		return fmt.Sprintf("C/N0 falls to %.0f dB-Hz", m.CN0Min)
	case plan.ByControl:
		return "gain control has no reserve and the level falls"
	}
	return "the receiver gets too little light"
}

// size writes decibels as finely as a person can use them.
func size(db float64) string {
	if db < 3 {
		return fmt.Sprintf("%.1f dB", db)
	}
	return fmt.Sprintf("%.0f dB", db)
}
