package chart

import (
	"image"
	"image/color"
	"math"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	stdfont "golang.org/x/image/font"
)

// XY is a place on the paper, in points from the top left corner, y downward.
type XY struct{ X, Y float64 }

// A Stroke is how a line is drawn; lengths in points.
type Stroke struct {
	Width  float64
	Dashes []float64 // empty: solid
	Ink    color.NRGBA
}

// Lettering is how text is written.
type Lettering struct {
	Size  float64 // points
	Bold  bool
	Ink   color.NRGBA
	Angle float64 // degrees, counter-clockwise about the place
}

// A Pen draws what pictures are made of. Text begins at its place, which is on
// the base line.
type Pen interface {
	Line(points []XY, s Stroke)
	Area(points []XY, ink color.NRGBA)
	Text(at XY, text string, l Lettering)
}

// canvas lets the plot library draw with a pen.
type canvas struct {
	pen    Pen
	height float64
	now    penState
	saved  []penState
}

// penState is what Push saves. The matrix maps (x, y) to (a x + c y + e,
// b x + d y + f).
type penState struct {
	a, b, c, d, e, f float64
	stroke           Stroke
}

func newCanvas(pen Pen, height vg.Length) *canvas {
	return &canvas{pen: pen, height: float64(height), now: penState{a: 1, d: 1, stroke: Stroke{Width: 1, Ink: black}}}
}

func (c *canvas) SetLineWidth(w vg.Length) { c.now.stroke.Width = float64(w) }

func (c *canvas) SetLineDash(pattern []vg.Length, _ vg.Length) {
	c.now.stroke.Dashes = nil
	for _, p := range pattern {
		c.now.stroke.Dashes = append(c.now.stroke.Dashes, float64(p))
	}
}

func (c *canvas) SetColor(ink color.Color) {
	c.now.stroke.Ink = black
	if ink != nil {
		c.now.stroke.Ink = color.NRGBAModel.Convert(ink).(color.NRGBA)
	}
}

func (c *canvas) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	n := &c.now
	n.a, n.b, n.c, n.d = n.a*cos+n.c*sin, n.b*cos+n.d*sin, n.c*cos-n.a*sin, n.d*cos-n.b*sin
}

func (c *canvas) Translate(p vg.Point) {
	n := &c.now
	x, y := float64(p.X), float64(p.Y)
	n.e, n.f = n.e+n.a*x+n.c*y, n.f+n.b*x+n.d*y
}

func (c *canvas) Scale(x, y float64) {
	n := &c.now
	n.a, n.b, n.c, n.d = n.a*x, n.b*x, n.c*y, n.d*y
}

func (c *canvas) Push() { c.saved = append(c.saved, c.now) }

func (c *canvas) Pop() {
	c.now = c.saved[len(c.saved)-1]
	c.saved = c.saved[:len(c.saved)-1]
}

func (c *canvas) at(p vg.Point) XY {
	n, x, y := &c.now, float64(p.X), float64(p.Y)
	return XY{n.a*x + n.c*y + n.e, c.height - (n.b*x + n.d*y + n.f)}
}

// lines cuts a path into lines. Pictures have no curves.
func (c *canvas) lines(path vg.Path) (out [][]XY) {
	for _, step := range path {
		last := len(out) - 1
		switch step.Type {
		case vg.MoveComp:
			out = append(out, []XY{c.at(step.Pos)})
		case vg.LineComp:
			out[last] = append(out[last], c.at(step.Pos))
		case vg.CloseComp:
			out[last] = append(out[last], out[last][0])
		}
	}
	return out
}

func (c *canvas) Stroke(path vg.Path) {
	if c.now.stroke.Width <= 0 {
		return
	}
	for _, line := range c.lines(path) {
		c.pen.Line(line, c.now.stroke)
	}
}

func (c *canvas) Fill(path vg.Path) {
	for _, area := range c.lines(path) {
		c.pen.Area(area, c.now.stroke.Ink)
	}
}

func (c *canvas) FillString(f font.Face, at vg.Point, text string) {
	if f.Font.Size > 0 && text != "" {
		angle := math.Atan2(c.now.b, c.now.a) * 180 / math.Pi
		c.pen.Text(c.at(at), text, Lettering{Size: f.Font.Size.Points(), Bold: f.Font.Weight >= stdfont.WeightBold, Ink: c.now.stroke.Ink, Angle: angle})
	}
}

// DrawImage does nothing: pictures hold no images.
func (c *canvas) DrawImage(vg.Rectangle, image.Image) {}
