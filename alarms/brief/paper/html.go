package paper

import (
	"bytes"
	"crypto/sha256"
	_ "embed" // the style and the template
	"encoding/base64"
	"fmt"
	"html/template"
	"slices"

	"lightwell/alarms/chart"
)

//go:embed paper.css
var style string

//go:embed paper.html
var markup string

// StylePolicy names the style of the documents, for a content security policy
// that forbids all other.
var StylePolicy = func() string {
	sum := sha256.Sum256([]byte(style))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}()

var page = template.Must(template.New("paper").Funcs(template.FuncMap{
	"kind":  kind,
	"style": func() template.CSS { return template.CSS(style) },
	"svg":   func(p Picture) template.HTML { return template.HTML(chart.SVG(p.Of, p.Size)) },
	"right": func(t Table, column int) bool { return slices.Contains(t.Right, column) },
	"lines": func(f Field) []struct{} { return make([]struct{}, f.lines()) },
	"share": func(t Table, column int) string { return fmt.Sprintf("%.1f%%", 100*t.shares()[column]) },
}).Parse(markup))

// kind names a block for the template.
func kind(b Block) string {
	switch b := b.(type) {
	case Heading:
		return fmt.Sprintf("heading%d", b.Level)
	case Text:
		return "text"
	case Facts:
		return "facts"
	case List:
		return "list"
	case Table:
		return "table"
	case Picture:
		return "picture"
	case Cautions:
		return "cautions"
	case Form:
		return "form"
	}
	return "break"
}

// HTML returns the document as one file.
func (d *Document) HTML() ([]byte, error) {
	var out bytes.Buffer
	if err := page.Execute(&out, d); err != nil {
		return nil, fmt.Errorf("write document %q: %w", d.Title, err)
	}
	return out.Bytes(), nil
}
