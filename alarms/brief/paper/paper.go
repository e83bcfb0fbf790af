// Package paper sets documents for people: headings, text, tables, pictures,
// cautions and forms. A Document is written once and comes out as HTML that
// prints well on A4 and Letter and asks for nothing outside itself, and as
// PDF.
//
// It guarantees the same bytes for the same document, that nothing said in a
// text can become markup, and that no table row and no picture is cut by the
// end of a page. Letters of the PDF are Liberation Sans (SIL Open Font Licence
// 1.1), which has Latin, Greek and Cyrillic. Its data come from the caller.
package paper

import (
	"time"

	"lightwell/alarms/chart"
)

// A Document is what is to be printed.
type Document struct {
	Title    string
	Subtitle string
	Foot     string    // at the foot of every page
	Made     time.Time // for the properties of the PDF
	Dense    bool      // small type, for a document that must fit one page
	Blocks   []Block
}

// A Block is one part of a document: one of the types below.
type Block interface{ block() }

// Heading begins a part. Level 1 is a part, 2 a part of a part.
type Heading struct {
	Text  string
	Level int
}

// Text is a paragraph.
type Text struct {
	Text  string
	Bold  bool
	Small bool
}

// Facts are pairs of a name and what is to be said of it.
type Facts []Fact

// A Fact is one of Facts.
type Fact struct{ Name, Says string }

// List is a list of lines.
type List struct {
	Items   []string
	Numbers bool
	Boxes   bool // to be ticked off with a pen
}

// Table is a table. Rows have as many cells as Head.
type Table struct {
	Head   []string
	Rows   [][]string
	Shares []float64 // of the width, by column; nil: equal
	Right  []int     // columns of numbers
}

// Picture is a chart.
type Picture struct {
	Of   chart.Picture
	Size chart.Size
	Says string // what it shows, for those who cannot see it
}

// Cautions is a box that nobody overlooks.
type Cautions struct {
	Title string
	Items []string
}

// Form is what is filled in with a pen.
type Form []Field

// A Field is one line of a form, or several.
type Field struct {
	Name  string
	Lines int // 0: one
}

// PageBreak begins a new page.
type PageBreak struct{}

func (Heading) block()   {}
func (Text) block()      {}
func (Facts) block()     {}
func (List) block()      {}
func (Table) block()     {}
func (Picture) block()   {}
func (Cautions) block()  {}
func (Form) block()      {}
func (PageBreak) block() {}

// Add appends blocks.
func (d *Document) Add(blocks ...Block) { d.Blocks = append(d.Blocks, blocks...) }

// shares returns the parts of the width, summing to 1.
func (t *Table) shares() []float64 {
	out := make([]float64, len(t.Head))
	sum := 0.0
	for i := range out {
		out[i] = 1
		if i < len(t.Shares) {
			out[i] = t.Shares[i]
		}
		sum += out[i]
	}
	for i := range out {
		out[i] /= sum
	}
	return out
}

func (f Field) lines() int { return max(1, f.Lines) }
