package paper

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
)

// Format is a size of paper.
type Format string

// Formats.
const (
	A4     Format = "A4"
	Letter Format = "Letter"
)

const (
	family = "sans"
	side   = 18.0 // margins in mm
	top    = 16.0
	bottom = 18.0
)

// Inks of text and lines.
type ink [3]int

var (
	inkText  = ink{0x1a, 0x1a, 0x1a}
	inkQuiet = ink{0x55, 0x55, 0x55}
	inkTitle = ink{0x0b, 0x4f, 0x8a}
	inkRed   = ink{0xb3, 0x1b, 0x1b}
	inkRule  = ink{0xbb, 0xbb, 0xbb}
)

// setter sets a document on pages.
type setter struct {
	*fpdf.Fpdf
	doc   *Document
	scale float64 // of type and space
	pad   float64 // above and below the text of a table's row
	width float64 // between the margins
	end   float64 // lowest place of text
}

// PDF returns the document on that paper.
func (d *Document) PDF(format Format) ([]byte, error) {
	s := newSetter(d, format)
	s.title()
	for i, b := range d.Blocks {
		s.block(b, i)
	}
	var out bytes.Buffer
	if err := s.Output(&out); err != nil {
		return nil, fmt.Errorf("write document %q: %w", d.Title, err)
	}
	return out.Bytes(), nil
}

func newSetter(d *Document, format Format) *setter {
	f := fpdf.New("P", "mm", string(format), "")
	f.AddUTF8FontFromBytes(family, "", liberationsansregular.TTF)
	f.AddUTF8FontFromBytes(family, "B", liberationsansbold.TTF)
	f.SetCatalogSort(true)
	f.SetCreationDate(d.Made.UTC())
	f.SetModificationDate(d.Made.UTC())
	f.SetTitle(d.Title, true)
	f.SetCreator("Lightwell", true)
	f.SetLang("en")
	f.SetMargins(side, top, side)
	f.SetAutoPageBreak(false, bottom)
	f.SetCellMargin(0)
	f.AliasNbPages("{pages}")
	width, height := f.GetPageSize()
	s := &setter{Fpdf: f, doc: d, scale: 1, pad: 0.9, width: width - 2*side, end: height - bottom}
	if d.Dense {
		s.scale, s.pad = 0.86, 0.4
	}
	f.SetFooterFunc(s.foot)
	f.AddPage()
	return s
}

func (s *setter) foot() {
	_, height := s.GetPageSize()
	s.rule(height-bottom+4, inkRule, 0.15)
	s.SetXY(side, height-bottom+5)
	s.letters(8, false, inkQuiet)
	s.CellFormat(s.width-20, 4, s.doc.Foot, "", 0, "L", false, 0, "")
	s.SetXY(side+s.width-12, height-bottom+5) // not flush right: the number of pages is filled in later
	s.CellFormat(12, 4, fmt.Sprintf("%d of {pages}", s.PageNo()), "", 0, "L", false, 0, "")
}

func (s *setter) rule(y float64, of ink, width float64) {
	s.SetDrawColor(of[0], of[1], of[2])
	s.SetLineWidth(width)
	s.SetDashPattern(nil, 0)
	s.Line(side, y, side+s.width, y)
}

// letters sets size, weight and ink of what is written next.
func (s *setter) letters(points float64, bold bool, of ink) {
	weight := ""
	if bold {
		weight = "B"
	}
	s.SetFont(family, weight, points)
	s.SetTextColor(of[0], of[1], of[2])
}

// leading is the height of a line of the letters set.
func (s *setter) leading() float64 {
	_, height := s.GetFontSize()
	return height * 1.32
}

// room begins a new page when less than height is left of this one.
func (s *setter) room(height float64) {
	if s.GetY()+height > s.end {
		s.AddPage()
	}
}

// down leaves space.
func (s *setter) down(height float64) { s.SetXY(side, s.GetY()+height*s.scale) }

// lines breaks text to a width.
func (s *setter) lines(text string, width float64) []string {
	var out []string
	for _, line := range strings.Split(text, "\n") {
		out = append(out, s.broken(line, width)...)
	}
	return out
}

// broken breaks a line at spaces, and inside a word only when it is wider than
// the column.
func (s *setter) broken(line string, width float64) (out []string) {
	now := ""
	for _, word := range strings.Fields(line) {
		try := strings.TrimPrefix(now+" "+word, " ")
		if s.GetStringWidth(try) <= width {
			now = try
			continue
		}
		if now != "" {
			out = append(out, now)
		}
		for now = word; s.GetStringWidth(now) > width; {
			head, rest := s.head(now, width)
			out, now = append(out, head), rest
		}
	}
	return append(out, now)
}

// head cuts off as many letters as fit, and one at least.
func (s *setter) head(word string, width float64) (head, rest string) {
	letters := []rune(word)
	n := 1
	for n < len(letters) && s.GetStringWidth(string(letters[:n+1])) <= width {
		n++
	}
	return string(letters[:n]), string(letters[n:])
}

// write writes text from a place on, over pages where needed.
func (s *setter) write(text string, x, width float64) {
	for _, line := range s.lines(text, width) {
		s.room(s.leading())
		s.SetXY(x, s.GetY())
		s.CellFormat(width, s.leading(), line, "", 0, "L", false, 0, "")
		s.SetXY(side, s.GetY()+s.leading())
	}
}

func (s *setter) title() {
	s.letters(17*s.scale, true, inkText)
	s.write(s.doc.Title, side, s.width)
	s.letters(10*s.scale, false, inkQuiet)
	if s.doc.Subtitle != "" {
		s.write(s.doc.Subtitle, side, s.width)
	}
	s.down(1)
	s.rule(s.GetY(), inkTitle, 0.42)
	s.down(4)
}

func (s *setter) block(b Block, at int) {
	switch b := b.(type) {
	case Heading:
		s.heading(b, at)
	case Text:
		s.text(b)
	case Facts:
		s.facts(b)
	case List:
		s.list(b)
	case Table:
		s.table(b)
	case Picture:
		s.picture(b)
	case Cautions:
		s.cautions(b)
	case Form:
		s.form(b)
	case PageBreak:
		s.AddPage()
	}
}

// follows is how much of what comes after a heading must be on its page.
func (s *setter) follows(at int) float64 {
	rest := s.doc.Blocks[at+1:]
	if i := slices.IndexFunc(rest, func(b Block) bool { _, is := b.(Heading); return !is }); i >= 0 {
		switch b := rest[i].(type) {
		case Picture:
			return b.Size.HeightMM
		case Cautions:
			return s.cautionHeight(b)
		}
	}
	return 14 * s.scale
}

func (s *setter) heading(h Heading, at int) {
	size, of, before, after := 12.5, inkTitle, 4.0, 1.6
	if h.Level > 1 {
		size, of, before, after = 10.5, inkText, 2.5, 0.8
	}
	s.letters(size*s.scale, true, of)
	s.room(before*s.scale + s.leading() + s.follows(at))
	s.letters(size*s.scale, true, of) // a new page has set the letters of its foot
	if s.GetY() > top+1 {
		s.down(before)
	}
	s.write(h.Text, side, s.width)
	s.down(after)
}
