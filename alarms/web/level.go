package web

import (
	"fmt"
	"math"
	"strings"

	"lightwell/alarms"
	"lightwell/alarms/web/view"
	"lightwell/collector"
)

// Places of the level diagram, in its own units.
const (
	diagramTop    = 44.0 // of the scales
	diagramBottom = 176.0
	diagramMiddle = (diagramTop + diagramBottom) / 2
	radioSpanDB   = 12.0 // up or down from the baseline of a signal
	lightRoomDB   = 1.5  // above and below the light
)

// places are where the stations of a direction stand: signal at the antenna,
// light at the roof, light in the room, signal at the user.
var places = [4]float64{80, 250, 490, 660}

// diagram draws one direction of a link from the antenna to the user: levels
// now and at the baseline, limits, and what was found where.
type diagram struct {
	Name, Way string
	Said      string // in words
	Stations  []station
	Now, Base string // lines through the stations
	Ticks     []tick // of the light
	Limits    []tick
	Loss      string
	Lossy     bool
	Finds     []find
}

// station is one level on the way.
type station struct {
	X, Y   float64
	Label  string
	Value  string
	Change string
	Off    bool
	Known  bool
}

type tick struct {
	X, Y float64
	Text string
}

// find is a finding at its place.
type find struct {
	X, Y float64
	Text string
}

// diagrams draws both directions of a link.
func diagrams(b *view.Board, l view.Link) []diagram {
	d, u := l.Downlink, l.Uplink
	down := newDiagram(b, l, "downlink", "from the antenna to the user", &d, [4]*view.Point{d.Input, d.Transmit, d.Receive, d.Output})
	up := newDiagram(b, l, "uplink", "from the user to the antenna", &u, [4]*view.Point{u.Output, u.Receive, u.Transmit, u.Input})
	return []diagram{down, up}
}

func newDiagram(b *view.Board, l view.Link, name, way string, d *view.Direction, points [4]*view.Point) diagram {
	out := diagram{Name: name, Way: way, Loss: "loss not known"}
	if d.LossDB != nil {
		out.Loss = "loss " + number(d.LossDB, 2) + " dB"
		if d.ExtraLossDB != nil {
			out.Loss += ", " + signed(d.ExtraLossDB, 2) + " dB against the baseline"
			out.Lossy = *d.ExtraLossDB >= noticeDB
		}
	}
	receiver, _ := b.Fleet.Unit(d.To)
	scale := newScale(points[1:3], receiver.Equipment.Limits)
	labels := [4]string{"signal at the antenna", "light at the roof", "light in the room", "signal at the user"}
	said := []string{name + " of " + l.ID}
	for i, p := range points {
		s := station{X: places[i], Y: diagramMiddle, Label: labels[i], Value: "not read"}
		if p != nil {
			s.fill(p, scale, i == 1 || i == 2)
		}
		out.Stations = append(out.Stations, s)
		said = append(said, strings.TrimSpace(s.Label+" "+s.Value+" "+s.Change))
	}
	out.lines(points, scale)
	out.mark(scale, receiver.Equipment.Limits, name)
	for _, f := range l.Findings {
		if f.Direction == "" || f.Direction == name {
			out.Finds = append(out.Finds, find{findPlace(b, &f), diagramBottom + 24 + 16*float64(len(out.Finds)), f.Sentence()})
			said = append(said, f.Sentence())
		}
	}
	out.Said = strings.Join(append(said, out.Loss), "; ")
	return out
}

// Height has room for what was found.
func (d diagram) Height() float64 { return diagramBottom + 16 + 16*float64(len(d.Finds)) + 6 }

func (s *station) fill(p *view.Point, scale scale, light bool) {
	s.Value, s.Off = reading(p), p.Worse >= noticeDB
	if p.Deviation != nil {
		s.Change = signed(p.Deviation, 2) + " dB"
	}
	if p.Value == nil {
		return
	}
	s.Known = true
	if light {
		s.Y = scale.at(*p.Value)
	} else if p.Deviation != nil {
		s.Y = radioAt(*p.Deviation)
	}
}

func radioAt(deviation float64) float64 {
	return diagramMiddle - math.Max(-1, math.Min(1, deviation/radioSpanDB))*(diagramBottom-diagramTop)/2
}

// lines joins the levels that are known.
func (d *diagram) lines(points [4]*view.Point, scale scale) {
	var now, base strings.Builder
	join := func(b *strings.Builder, x, y float64) {
		c := "L"
		if b.Len() == 0 {
			c = "M"
		}
		fmt.Fprintf(b, "%s%g %.1f", c, x, y)
	}
	for i, s := range d.Stations {
		if s.Known {
			join(&now, s.X, s.Y)
		}
		if p := points[i]; p != nil && p.Baseline != nil {
			y := diagramMiddle
			if i == 1 || i == 2 {
				y = scale.at(*p.Baseline)
			}
			join(&base, s.X, y)
		}
	}
	d.Now, d.Base = now.String(), base.String()
}

// mark draws the scale of the light and the limits of its receiver.
func (d *diagram) mark(scale scale, limits collector.Limits, name string) {
	for v := math.Ceil(scale.low/scale.step) * scale.step; v <= scale.high; v += scale.step {
		d.Ticks = append(d.Ticks, tick{170, scale.at(v), number(v, 0) + " dBm"})
	}
	x := places[2]
	if name == "uplink" {
		x = places[1]
	}
	for _, l := range []struct {
		at   *float64
		text string
	}{{limits.ReceivePowerMinDBm, "least"}, {limits.ReceivePowerMaxDBm, "most"}} {
		if l.at != nil {
			d.Limits = append(d.Limits, tick{x, scale.at(*l.at), l.text + " " + number(l.at, 1)})
		}
	}
}

// scale maps dBm of light to the drawing.
type scale struct{ low, high, step float64 }

func newScale(light []*view.Point, limits collector.Limits) scale {
	s := scale{math.Inf(1), math.Inf(-1), 1}
	take := func(v *float64) {
		if v != nil {
			s.low, s.high = math.Min(s.low, *v), math.Max(s.high, *v)
		}
	}
	for _, p := range light {
		if p != nil {
			take(p.Value)
			take(p.Baseline)
		}
	}
	take(limits.ReceivePowerMinDBm)
	take(limits.ReceivePowerMaxDBm)
	if s.low > s.high {
		s.low, s.high = -10, 10
	}
	s.low, s.high = s.low-lightRoomDB, s.high+lightRoomDB
	for (s.high-s.low)/s.step > 6 {
		s.step = map[float64]float64{1: 2, 2: 5, 5: 10}[s.step]
		if s.step == 0 {
			s.step = s.high - s.low
		}
	}
	return s
}

func (s scale) at(dbm float64) float64 {
	return diagramBottom - (dbm-s.low)/(s.high-s.low)*(diagramBottom-diagramTop)
}

// findPlace is where on the drawing a finding belongs.
func findPlace(b *view.Board, f *alarms.Finding) float64 {
	kind, id, _ := view.Resource(f.Resource)
	if u, ok := b.Fleet.Unit(id); kind == "unit" && ok {
		if u.Role == collector.Outdoor {
			return places[1]
		}
		return places[2]
	}
	return (places[1] + places[2]) / 2
}
