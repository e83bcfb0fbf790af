package chart

import (
	"image/color"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

var (
	dashed = []vg.Length{vg.Points(5), vg.Points(3)}
	dotted = []vg.Length{vg.Points(1.5), vg.Points(2)}
	chain  = []vg.Length{vg.Points(8), vg.Points(2), vg.Points(2), vg.Points(2)}
)

func line(ink color.Color, width float64, dashes []vg.Length) draw.LineStyle {
	return draw.LineStyle{Color: ink, Width: vg.Points(width), Dashes: dashes}
}

// grid draws the frame and thin lines at the marks of both axes.
type grid struct{}

// Plot is called by the plot library.
func (grid) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for _, t := range p.Y.Tick.Marker.Ticks(p.Y.Min, p.Y.Max) {
		c.StrokeLine2(line(faint, 0.5, nil), c.Min.X, y(t.Value), c.Max.X, y(t.Value))
	}
	for _, t := range p.X.Tick.Marker.Ticks(p.X.Min, p.X.Max) {
		c.StrokeLine2(line(faint, 0.5, nil), x(t.Value), c.Min.Y, x(t.Value), c.Max.Y)
	}
}

// course draws the band between lowest and highest, and the line of values.
type course struct {
	samples   []Sample
	gap       time.Duration
	ink, band color.Color
}

// Plot is called by the plot library.
func (k course) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for _, run := range k.runs() {
		middle := make([]vg.Point, 0, len(run))
		edge := make([]vg.Point, 0, 2*len(run))
		for _, s := range run {
			at := x(seconds(s.Time))
			middle = append(middle, vg.Point{X: at, Y: y(s.Value)})
			edge = append(edge, vg.Point{X: at, Y: y(s.High)})
		}
		for i := len(run) - 1; i >= 0; i-- {
			edge = append(edge, vg.Point{X: x(seconds(run[i].Time)), Y: y(run[i].Low)})
		}
		if len(run) == 1 { // one sample is a dash
			middle = append(middle, vg.Point{X: middle[0].X + vg.Points(1.5), Y: middle[0].Y})
		}
		c.FillPolygon(k.band, c.ClipPolygonXY(edge))
		c.StrokeLines(line(k.ink, 1, nil), c.ClipLinesXY(middle)...)
	}
}

// runs cuts the samples where a gap is.
func (k course) runs() (out [][]Sample) {
	begin := 0
	for i := range k.samples {
		if i > begin && k.gap > 0 && k.samples[i].Time.Sub(k.samples[i-1].Time) > k.gap {
			out, begin = append(out, k.samples[begin:i]), i
		}
	}
	if begin < len(k.samples) {
		out = append(out, k.samples[begin:])
	}
	return out
}

// Plot draws the level with its name at the right end; of a limit outside the
// picture the name alone, with an arrow. It is called by the plot library.
func (l Level) Plot(c draw.Canvas, p *plot.Plot) {
	_, y := p.Transforms(&c)
	at := y(l.Value)
	if !c.ContainsY(at) {
		l.outside(c, at)
		return
	}
	ink, style := green, line(green, 1, dashed)
	if l.Limit {
		ink, style = red, line(red, 1.2, chain)
	}
	c.StrokeLine2(style, c.Min.X, at, c.Max.X, at)
	align, shift := draw.YBottom, vg.Points(2.2)
	if at+vg.Points(small+3) > c.Max.Y { // no room above
		align, shift = draw.YTop, vg.Points(-2.2)
	}
	written(c, letters(small, ink, draw.XRight, align), vg.Point{X: c.Max.X - vg.Points(3), Y: at + shift}, l.Name)
}

func (l Level) outside(c draw.Canvas, at vg.Length) {
	place, align, arrow := vg.Point{X: c.Max.X - vg.Points(3), Y: c.Min.Y + vg.Points(2)}, draw.YBottom, "\u2193 "
	if at > c.Max.Y {
		place.Y, align, arrow = c.Max.Y-vg.Points(2), draw.YTop, "\u2191 "
	}
	if l.Limit && l.Name != "" {
		written(c, letters(small, red, draw.XRight, align), place, arrow+l.Name)
	}
}

// written writes on a white ground, so that lines below do not disturb.
func written(c draw.Canvas, s draw.TextStyle, at vg.Point, text string) {
	if text == "" {
		return
	}
	box := s.Rectangle(text).Add(at)
	box.Min.X -= vg.Points(1.5)
	box.Max.X += vg.Points(1.5)
	c.FillPolygon(white, []vg.Point{box.Min, {X: box.Max.X, Y: box.Min.Y}, box.Max, {X: box.Min.X, Y: box.Max.Y}})
	c.FillText(s, at, text)
}

// fan draws a forecast: the field between the earliest and the latest course.
type fan Outlook

// Plot is called by the plot library.
func (f fan) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	begin := vg.Point{X: x(seconds(f.From)), Y: y(f.Value)}
	early := vg.Point{X: x(seconds(f.From.Add(f.Lower))), Y: y(f.Limit)}
	late := vg.Point{X: x(seconds(f.From.Add(f.Upper))), Y: y(f.Limit)}
	field := []vg.Point{begin, early, late}
	if f.Open {
		late = vg.Point{X: c.Max.X, Y: begin.Y}
		field = []vg.Point{begin, early, {X: max(c.Max.X, early.X), Y: early.Y}, late}
	}
	c.FillPolygon(rose, c.ClipPolygonXY(field))
	c.StrokeLines(line(red, 0.8, dotted), c.ClipLinesXY([]vg.Point{begin, early}, []vg.Point{begin, late})...)
}

// spans draws marks that last as shadows.
type spans []Mark

// Plot is called by the plot library.
func (m spans) Plot(c draw.Canvas, p *plot.Plot) {
	x, _ := p.Transforms(&c)
	for _, mark := range m {
		if !mark.End.After(mark.Begin) {
			continue
		}
		from := x(seconds(mark.Begin))
		to := max(x(seconds(mark.End)), from+vg.Points(1.5))
		c.FillPolygon(shadow, c.ClipPolygonX([]vg.Point{{X: from, Y: c.Min.Y}, {X: to, Y: c.Min.Y}, {X: to, Y: c.Max.Y}, {X: from, Y: c.Max.Y}}))
	}
}

// moments draws a line at the begin of each mark with its name at the top;
// where names would cover each other the next goes a line lower.
type moments []Mark

// Plot is called by the plot library.
func (m moments) Plot(c draw.Canvas, p *plot.Plot) {
	x, _ := p.Transforms(&c)
	const rows = 3
	var taken [rows]vg.Length // right ends of names by row
	for _, mark := range m {
		at := x(seconds(mark.Begin))
		if !c.ContainsX(at) {
			continue
		}
		if !mark.End.After(mark.Begin) {
			c.StrokeLine2(line(grey, 0.8, dotted), at, c.Min.Y, at, c.Max.Y)
		}
		style := letters(small, grey, draw.XLeft, draw.YTop)
		width := style.Width(mark.Name) + vg.Points(5)
		at = min(at, c.Max.X-width)
		row := 0
		for row < rows-1 && at < taken[row] {
			row++
		}
		taken[row] = at + width
		written(c, style, vg.Point{X: at + vg.Points(2), Y: c.Max.Y - vg.Points(1+float64(row)*(small+2))}, mark.Name)
	}
}

// remark stands in the middle of an empty picture.
type remark string

// Plot is called by the plot library.
func (r remark) Plot(c draw.Canvas, _ *plot.Plot) {
	c.FillText(letters(usual, grey, draw.XCenter, draw.YCenter), c.Center(), string(r))
}
