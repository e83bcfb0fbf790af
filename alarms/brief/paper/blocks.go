package paper

import (
	"fmt"
	"image/color"
	"slices"

	"codeberg.org/go-pdf/fpdf"

	"lightwell/alarms/chart"
)

func (s *setter) text(t Text) {
	size, of := 10.0, inkText
	if t.Small {
		size, of = 8.5, inkQuiet
	}
	s.room(5)
	s.letters(size*s.scale, t.Bold, of)
	s.write(t.Text, side, s.width)
	s.down(2)
}

const factColumn = 42.0

func (s *setter) facts(all Facts) {
	for _, f := range all {
		s.letters(10*s.scale, false, inkText)
		lines := s.lines(f.Says, s.width-factColumn)
		s.room(s.leading() * float64(min(len(lines), 4)))
		y := s.GetY()
		s.letters(10*s.scale, false, inkQuiet)
		s.SetXY(side, y)
		s.CellFormat(factColumn, s.leading(), f.Name, "", 0, "L", false, 0, "")
		s.letters(10*s.scale, false, inkText)
		s.SetXY(side, y)
		s.write(f.Says, side+factColumn, s.width-factColumn)
		s.down(0.6)
	}
	s.down(1.5)
}

const indent = 6.0

func (s *setter) list(l List) {
	for i, item := range l.Items {
		s.letters(10*s.scale, false, inkText)
		s.item(item, i, l)
	}
	s.down(1.5)
}

func (s *setter) item(item string, i int, l List) {
	lines := s.lines(item, s.width-indent)
	s.room(s.leading() * float64(min(len(lines), 6)))
	s.letters(10*s.scale, false, inkText)
	y := s.GetY()
	switch {
	case l.Boxes:
		s.SetDrawColor(inkText[0], inkText[1], inkText[2])
		s.SetLineWidth(0.28)
		s.Rect(side, y+0.7*s.scale, 3.2*s.scale, 3.2*s.scale, "D")
	case l.Numbers:
		s.SetXY(side, y)
		s.CellFormat(indent-1, s.leading(), fmt.Sprintf("%d.", i+1), "", 0, "L", false, 0, "")
	default:
		s.SetXY(side+1.5, y)
		s.CellFormat(indent, s.leading(), "\u2022", "", 0, "L", false, 0, "")
	}
	s.SetXY(side, y)
	s.write(item, side+indent, s.width-indent)
	s.down(0.6)
}

// row is one line of a table, broken to its columns.
func (s *setter) row(t *Table, cells []string, bold bool) (lines [][]string, height float64) {
	s.letters(9*s.scale, bold, inkText)
	most := 1
	for i, share := range t.shares() {
		cell := ""
		if i < len(cells) {
			cell = cells[i]
		}
		lines = append(lines, s.lines(cell, share*s.width-2.4))
		most = max(most, len(lines[i]))
	}
	return lines, float64(most)*s.leading() + 2*s.pad
}

func (s *setter) table(t Table) {
	head, headHeight := s.row(&t, t.Head, true)
	begin := func() {
		s.printRow(&t, head, headHeight, true)
		s.rule(s.GetY(), inkText, 0.3)
	}
	s.room(headHeight + 8)
	begin()
	for _, cells := range t.Rows {
		lines, height := s.row(&t, cells, false)
		height = max(height, 4*s.scale+2*s.pad)
		if s.GetY()+height > s.end {
			s.AddPage()
			begin()
		}
		s.printRow(&t, lines, height, false)
		s.rule(s.GetY(), inkRule, 0.15)
	}
	s.down(3)
}

func (s *setter) printRow(t *Table, lines [][]string, height float64, bold bool) {
	s.letters(9*s.scale, bold, inkText)
	x, y := side, s.GetY()
	for i, share := range t.shares() {
		align := "L"
		if slices.Contains(t.Right, i) {
			align = "R"
		}
		for n, line := range lines[i] {
			s.SetXY(x+1.2, y+s.pad+float64(n)*s.leading())
			s.CellFormat(share*s.width-2.4, s.leading(), line, "", 0, align, false, 0, "")
		}
		x += share * s.width
	}
	s.SetXY(side, y+height)
}

func (s *setter) cautionHeight(c Cautions) float64 {
	s.letters(10*s.scale, false, inkText)
	height := s.leading() + 6
	for _, item := range c.Items {
		height += float64(len(s.lines(item, s.width-14)))*s.leading() + 0.6*s.scale
	}
	return height
}

func (s *setter) cautions(c Cautions) {
	height := s.cautionHeight(c)
	s.room(height + 2)
	y := s.GetY() + 1
	s.SetDrawColor(inkRed[0], inkRed[1], inkRed[2])
	s.SetFillColor(inkRed[0], inkRed[1], inkRed[2])
	s.SetLineWidth(0.42)
	s.Rect(side, y, s.width, height, "D")
	s.Rect(side, y, 1.8, height, "F")
	s.SetXY(side, y+2)
	s.letters(10.5*s.scale, true, inkRed)
	s.write(c.Title, side+5, s.width-8)
	for _, item := range c.Items {
		s.letters(10*s.scale, false, inkText)
		at := s.GetY()
		s.SetXY(side+5, at)
		s.CellFormat(4, s.leading(), "\u2022", "", 0, "L", false, 0, "")
		s.SetXY(side, at)
		s.write(item, side+9, s.width-14)
		s.down(0.6)
	}
	s.SetXY(side, y+height)
	s.down(3)
}

const penLine = 8.0

func (s *setter) form(fields Form) {
	for _, f := range fields {
		lines := float64(f.lines()) * penLine * s.scale
		s.letters(10*s.scale, false, inkQuiet)
		s.room(s.leading() + lines)
		s.letters(10*s.scale, false, inkQuiet)
		s.write(f.Name, side, s.width)
		for range f.lines() {
			s.SetXY(side, s.GetY()+penLine*s.scale)
			s.rule(s.GetY(), inkRule, 0.2)
		}
		s.down(2)
	}
}

func (s *setter) picture(p Picture) {
	scale := min(1, s.width/p.Size.WidthMM)
	s.room(p.Size.HeightMM * scale)
	y := s.GetY() // drawing moves it
	chart.Draw(p.Of, p.Size, pen{s, side, y, scale * 25.4 / 72})
	s.SetDashPattern(nil, 0)
	s.SetXY(side, y+p.Size.HeightMM*scale)
	s.down(2)
}

// pen draws a chart at a place of the page; scale turns points into mm.
type pen struct {
	s           *setter
	x, y, scale float64
}

func (p pen) at(xy chart.XY) (x, y float64) { return p.x + xy.X*p.scale, p.y + xy.Y*p.scale }

func (p pen) path(points []chart.XY) {
	for i, xy := range points {
		if x, y := p.at(xy); i == 0 {
			p.s.MoveTo(x, y)
		} else {
			p.s.LineTo(x, y)
		}
	}
}

// Line implements chart.Pen.
func (p pen) Line(points []chart.XY, k chart.Stroke) {
	p.s.SetDrawColor(int(k.Ink.R), int(k.Ink.G), int(k.Ink.B))
	p.s.SetLineWidth(k.Width * p.scale)
	dashes := make([]float64, len(k.Dashes))
	for i, d := range k.Dashes {
		dashes[i] = d * p.scale
	}
	p.s.SetDashPattern(dashes, 0)
	p.path(points)
	p.s.DrawPath("D")
}

// Area implements chart.Pen.
func (p pen) Area(points []chart.XY, of color.NRGBA) {
	if len(points) < 3 {
		return
	}
	p.s.SetFillColor(int(of.R), int(of.G), int(of.B))
	corners := make([]fpdf.PointType, len(points))
	for i, xy := range points {
		corners[i].X, corners[i].Y = p.at(xy)
	}
	p.s.Polygon(corners, "F")
}

// Text implements chart.Pen.
func (p pen) Text(at chart.XY, text string, l chart.Lettering) {
	x, y := p.at(at)
	p.s.letters(l.Size*p.scale*72/25.4, l.Bold, ink{int(l.Ink.R), int(l.Ink.G), int(l.Ink.B)})
	if l.Angle == 0 {
		p.s.Text(x, y, text)
		return
	}
	p.s.TransformBegin()
	p.s.TransformRotate(l.Angle, x, y)
	p.s.Text(x, y, text)
	p.s.TransformEnd()
}
