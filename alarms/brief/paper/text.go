package paper

import (
	"bytes"
	"fmt"
	"strings"
	"text/tabwriter"
	"unicode"
	"unicode/utf8"
)

// textWidth is how many letters a line of plain text has: what every terminal
// shows and a mail carries. Tables may be wider.
const textWidth = 78

// Text returns the document as plain text, for a terminal or a mail. A picture
// is told by what it shows.
func (d *Document) Text() []byte {
	var out bytes.Buffer
	underlined(&out, d.Title, '=')
	wrap(&out, "", "", d.Subtitle)
	for _, b := range d.Blocks {
		setText(&out, b)
	}
	return out.Bytes()
}

func setText(out *bytes.Buffer, b Block) {
	if _, none := b.(PageBreak); none {
		return
	}
	out.WriteByte('\n')
	switch b := b.(type) {
	case Heading:
		underlined(out, b.Text, [...]rune{'-', '.'}[min(max(b.Level, 1), 2)-1])
	case Text:
		wrap(out, "", "", b.Text)
	case Facts:
		textFacts(out, b)
	case List:
		for i, item := range b.Items {
			mark := "- "
			switch {
			case b.Boxes:
				mark = "[ ] "
			case b.Numbers:
				mark = fmt.Sprintf("%d. ", i+1)
			}
			wrap(out, mark, strings.Repeat(" ", len(mark)), item)
		}
	case Table:
		textTable(out, b)
	case Picture:
		wrap(out, "", "", "(Picture: "+b.Says+")")
	case Cautions:
		underlined(out, strings.ToUpper(b.Title), '!')
		for _, item := range b.Items {
			wrap(out, "! ", "  ", item)
		}
	case Form:
		for _, f := range b {
			out.WriteString(f.Name + ": " + strings.Repeat("_", max(textWidth-utf8.RuneCountInString(f.Name)-2, 10)) + "\n")
			for range f.lines() - 1 {
				out.WriteString(strings.Repeat("_", textWidth) + "\n")
			}
		}
	}
}

func underlined(out *bytes.Buffer, text string, with rune) {
	out.WriteString(text + "\n" + strings.Repeat(string(with), min(utf8.RuneCountInString(text), textWidth)) + "\n")
}

func textFacts(out *bytes.Buffer, facts Facts) {
	widest := 0
	for _, f := range facts {
		widest = max(widest, utf8.RuneCountInString(f.Name))
	}
	for _, f := range facts {
		name := f.Name + strings.Repeat(" ", widest-utf8.RuneCountInString(f.Name)+2)
		wrap(out, name, strings.Repeat(" ", widest+2), f.Says)
	}
}

func textTable(out *bytes.Buffer, t Table) {
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	for _, row := range append([][]string{t.Head}, t.Rows...) {
		fmt.Fprintln(w, strings.Join(row, "\t"))
	}
	_ = w.Flush() // a buffer takes everything
}

// wrap writes text in lines of at most textWidth letters, the first behind
// first and the others behind rest. Signs that steer a terminal are left out.
func wrap(out *bytes.Buffer, first, rest, text string) {
	margin := first
	for paragraph := range strings.Lines(text) {
		line := margin
		for _, word := range strings.FieldsFunc(paragraph, func(r rune) bool { return unicode.IsSpace(r) || unicode.IsControl(r) }) {
			if line != margin {
				if utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= textWidth {
					line += " " + word
					continue
				}
				out.WriteString(line + "\n")
				margin = rest
			}
			line = margin + word
		}
		out.WriteString(strings.TrimRight(line, " ") + "\n")
		margin = rest
	}
}
