package chart

import (
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// Place is one place in a Curve, in the units of its axes.
type Place struct{ X, Y float64 }

// A Line is one line of a Curve. Its name stands at its right end.
type Line struct {
	Name   string
	Places []Place // by X
}

// An Upright is a value on the X axis with a name: the working point, or where
// a limit is reached.
type Upright struct {
	X     float64
	Name  string
	Limit bool
}

// A Curve is one or more quantities against another.
type Curve struct {
	Title    string
	X, Y     string // what the axes show, with units: "optical loss, dB"
	Lines    []Line // the first is drawn thickest
	Low      []Place
	High     []Place // with Low: the field between them is grey
	Levels   []Level
	Uprights []Upright
}

func (k *Curve) draw(c draw.Canvas) {
	c.Max.X -= vg.Points(6)
	p := frame(k.Title)
	p.X.Label.Text, p.Y.Label.Text = k.X, k.Y
	p.X.Tick.Marker, p.Y.Tick.Marker = numbers(10), numbers(8)
	k.extent(p)
	if len(k.Low) > 0 && len(k.High) > 0 {
		p.Add(field{k.Low, k.High})
	}
	p.Add(grid{})
	for i := len(k.Lines) - 1; i >= 0; i-- {
		p.Add(stroke{k.Lines[i], i})
	}
	for _, l := range k.Levels {
		p.Add(l)
	}
	for i, u := range k.Uprights {
		p.Add(upright{u, i})
	}
	p.Draw(c)
}

// extent sets the ranges of both axes.
func (k *Curve) extent(p *plot.Plot) {
	left, right, low, high := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	all := append([]Line{{Places: k.Low}, {Places: k.High}}, k.Lines...)
	for _, l := range all {
		for _, at := range l.Places {
			left, right, low, high = min(left, at.X), max(right, at.X), min(low, at.Y), max(high, at.Y)
		}
	}
	for _, l := range k.Levels {
		low, high = min(low, l.Value), max(high, l.Value)
	}
	for _, u := range k.Uprights {
		left, right = min(left, u.X), max(right, u.X)
	}
	p.X.Min, p.X.Max = left, right
	p.Y.Min, p.Y.Max = roomy(low, high)
}

// field is the ground between two lines.
type field struct{ low, high []Place }

// Plot is called by the plot library.
func (f field) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	var edge []vg.Point
	for _, at := range f.high {
		edge = append(edge, vg.Point{X: x(at.X), Y: y(at.Y)})
	}
	for i := len(f.low) - 1; i >= 0; i-- {
		edge = append(edge, vg.Point{X: x(f.low[i].X), Y: y(f.low[i].Y)})
	}
	c.FillPolygon(faint, c.ClipPolygonXY(edge))
}

// stroke is one line of a curve; rank decides how it looks.
type stroke struct {
	Line
	rank int
}

// Plot is called by the plot library.
func (s stroke) Plot(c draw.Canvas, p *plot.Plot) {
	if len(s.Places) == 0 {
		return
	}
	looks := []draw.LineStyle{line(blue, 1.6, nil), line(brown, 1.2, dashed), line(black, 1, dotted), line(grey, 1, chain)}
	look := looks[s.rank%len(looks)]
	x, y := p.Transforms(&c)
	points := make([]vg.Point, len(s.Places))
	for i, at := range s.Places {
		points[i] = vg.Point{X: x(at.X), Y: y(at.Y)}
	}
	c.StrokeLines(look, c.ClipLinesXY(points)...)
	end := points[len(points)-1]
	written(c, letters(small, look.Color, draw.XRight, draw.YBottom), vg.Point{X: end.X - vg.Points(3), Y: end.Y + vg.Points(2)}, s.Name)
}

// upright is a vertical line with its name beside it, each a row lower.
type upright struct {
	Upright
	row int
}

// Plot is called by the plot library.
func (u upright) Plot(c draw.Canvas, p *plot.Plot) {
	x, _ := p.Transforms(&c)
	ink, look := green, line(green, 1, dashed)
	if u.Limit {
		ink, look = red, line(red, 1.2, chain)
	}
	at := x(u.X)
	c.StrokeLine2(look, at, c.Min.Y, at, c.Max.Y)
	style := letters(small, ink, draw.XLeft, draw.YTop)
	place := vg.Point{X: at + vg.Points(3), Y: c.Max.Y - vg.Points(2+float64(u.row)*(small+3))}
	if place.X+style.Width(u.Name) > c.Max.X {
		place.X = at - vg.Points(3) - style.Width(u.Name)
	}
	written(c, style, place, u.Name)
}
