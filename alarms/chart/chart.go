// Package chart draws pictures for documents: the course of a point over time
// with its limits, forecast and visits, and one quantity against another. They
// come out as SVG, as PNG, or through a Pen into any other form, such as a
// page of a PDF; the same picture every time for the same data.
//
// It guarantees that a picture can be read on paper without colour: lines
// differ by their dashes and carry their names, and times are those of the
// zone given. Its data come from the caller; it knows no clock and no file.
//
// Letters are measured, and painted in PNG, with the Liberation Sans fonts,
// which are part of the plot library and stand under the SIL Open Font Licence
// 1.1. SVG names them with Arial and Helvetica behind, which are as wide.
package chart

import (
	"bytes"
	"fmt"
	"image/color"

	stdfont "golang.org/x/image/font"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
)

// A Picture is a Trend or a Curve.
type Picture interface {
	draw(draw.Canvas)
}

// Size is how large a picture is on paper, in millimetres.
type Size struct{ WidthMM, HeightMM float64 }

// Sizes in use.
var (
	Wide = Size{174, 58}  // over the whole width of A4 or Letter
	Half = Size{174, 40}  // the same, flat
	Page = Size{174, 110} // half a page
)

const perMM = 72 / 25.4 // points in a millimetre

func (s Size) points() (w, h vg.Length) {
	return vg.Length(s.WidthMM * perMM), vg.Length(s.HeightMM * perMM)
}

// Draw draws a picture with a pen.
func Draw(p Picture, s Size, pen Pen) {
	w, h := s.points()
	p.draw(draw.NewCanvas(newCanvas(pen, h), w, h))
}

// SVG returns a picture as a document of its own, which can also stand inside
// HTML as it is. It has neither style nor script.
func SVG(p Picture, s Size) []byte {
	w, h := s.points()
	pen := newSVGPen(float64(w), float64(h), s)
	Draw(p, s, pen)
	return pen.close()
}

// PNG returns a picture at a number of dots per inch.
func PNG(p Picture, s Size, dpi int) ([]byte, error) {
	w, h := s.points()
	c := vgimg.PngCanvas{Canvas: vgimg.NewWith(vgimg.UseWH(w, h), vgimg.UseDPI(dpi))}
	p.draw(draw.New(c))
	var out bytes.Buffer
	if _, err := c.WriteTo(&out); err != nil {
		return nil, fmt.Errorf("write picture: %w", err)
	}
	return out.Bytes(), nil
}

// Inks. They differ in lightness too, for printers without colour.
var (
	black  = color.NRGBA{0x1a, 0x1a, 0x1a, 0xff}
	grey   = color.NRGBA{0x66, 0x66, 0x66, 0xff}
	faint  = color.NRGBA{0xe4, 0xe4, 0xe4, 0xff}
	white  = color.NRGBA{0xff, 0xff, 0xff, 0xff}
	blue   = color.NRGBA{0x0b, 0x4f, 0x8a, 0xff}
	pale   = color.NRGBA{0xc6, 0xdc, 0xee, 0xff} // of blue
	green  = color.NRGBA{0x1b, 0x6e, 0x3c, 0xff}
	red    = color.NRGBA{0xb3, 0x1b, 0x1b, 0xff}
	rose   = color.NRGBA{0xf6, 0xdd, 0xd6, 0xff} // of red
	brown  = color.NRGBA{0x8a, 0x5a, 0x00, 0xff}
	shadow = color.NRGBA{0xec, 0xec, 0xe4, 0xff} // planned work
)

const (
	small = 7.0 // points
	usual = 8.0
	large = 9.0
)

// sans is the font of all text.
func sans(size float64) font.Font {
	return font.From(font.Font{Typeface: "Liberation", Variant: "Sans"}, vg.Points(size))
}

// letters is the style of text.
func letters(size float64, ink color.Color, x draw.XAlignment, y draw.YAlignment) draw.TextStyle {
	return draw.TextStyle{Color: ink, Font: sans(size), XAlign: x, YAlign: y, Handler: plot.DefaultTextHandler}
}

// frame is an empty plot in the style of all of them.
func frame(title string) *plot.Plot {
	p := plot.New()
	p.BackgroundColor = nil
	p.Title.Text = title
	p.Title.TextStyle = letters(large, black, draw.XCenter, draw.YTop)
	p.Title.TextStyle.Font.Weight = stdfont.WeightBold
	p.Title.Padding = vg.Points(5)
	for _, a := range []*plot.Axis{&p.X, &p.Y} {
		a.Padding = 0
		a.Label.TextStyle.Font, a.Label.TextStyle.Color = sans(usual), black
		a.Tick.Label.Font, a.Tick.Label.Color = sans(usual), black
		a.Tick.Length = vg.Points(3)
		a.Color, a.Tick.Color = grey, grey
	}
	p.Y.Label.Padding = vg.Points(2)
	return p
}
