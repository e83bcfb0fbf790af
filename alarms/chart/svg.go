package chart

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image/color"
	"math"
	"strconv"
)

// svgPen writes SVG 1.1. Everything is said in presentation attributes, which
// a page may hold that forbids inline style.
type svgPen struct{ buf bytes.Buffer }

func newSVGPen(w, h float64, s Size) *svgPen {
	p := &svgPen{}
	fmt.Fprintf(&p.buf, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s" font-family="Liberation Sans, Arial, Helvetica, sans-serif">`+"\n",
		number(s.WidthMM), number(s.HeightMM), number(w), number(h))
	return p
}

func (p *svgPen) close() []byte {
	p.buf.WriteString("</svg>\n")
	return p.buf.Bytes()
}

func (p *svgPen) Line(points []XY, s Stroke) {
	p.buf.WriteString(`<polyline fill="none" stroke-linejoin="round"`)
	p.ink("stroke", s.Ink)
	fmt.Fprintf(&p.buf, ` stroke-width="%s"`, number(s.Width))
	for i, d := range s.Dashes {
		if i == 0 {
			p.buf.WriteString(` stroke-dasharray="` + number(d))
			continue
		}
		p.buf.WriteString(" " + number(d))
	}
	if len(s.Dashes) > 0 {
		p.buf.WriteByte('"')
	}
	p.points(points)
}

func (p *svgPen) Area(points []XY, ink color.NRGBA) {
	p.buf.WriteString("<polygon")
	p.ink("fill", ink)
	p.points(points)
}

func (p *svgPen) Text(at XY, text string, l Lettering) {
	fmt.Fprintf(&p.buf, `<text x="%s" y="%s" font-size="%s"`, number(at.X), number(at.Y), number(l.Size))
	p.ink("fill", l.Ink)
	if l.Bold {
		p.buf.WriteString(` font-weight="bold"`)
	}
	if l.Angle != 0 {
		fmt.Fprintf(&p.buf, ` transform="rotate(%s %s %s)"`, number(-l.Angle), number(at.X), number(at.Y))
	}
	p.buf.WriteByte('>')
	_ = xml.EscapeText(&p.buf, []byte(text)) // a buffer takes everything
	p.buf.WriteString("</text>\n")
}

func (p *svgPen) ink(attribute string, ink color.NRGBA) {
	fmt.Fprintf(&p.buf, ` %s="#%02x%02x%02x"`, attribute, ink.R, ink.G, ink.B)
}

func (p *svgPen) points(points []XY) {
	p.buf.WriteString(` points="`)
	b := p.buf.AvailableBuffer()
	for i, xy := range points {
		if i > 0 {
			b = append(b, ' ')
		}
		b = appendNumber(append(appendNumber(b, xy.X), ','), xy.Y)
	}
	p.buf.Write(append(b, "\"/>\n"...))
}

func number(v float64) string { return string(appendNumber(nil, v)) }

// appendNumber writes hundredths of a point: finer than any printer.
func appendNumber(b []byte, v float64) []byte {
	return strconv.AppendFloat(b, math.Round(v*100)/100+0, 'f', -1, 64)
}
