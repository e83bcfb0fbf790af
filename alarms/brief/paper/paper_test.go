package paper_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"os/exec"
	"regexp"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/brief/paper"
	"lightwell/alarms/chart"
	"lightwell/collector/need"
)

var made = time.Date(2026, 11, 25, 10, 30, 0, 0, time.UTC)

// every is a document with every kind of block.
func every() *paper.Document {
	return &paper.Document{Title: "Every block", Subtitle: "and a line below", Foot: "at the foot", Made: made, Blocks: []paper.Block{
		paper.Heading{Text: "A part", Level: 1}, paper.Heading{Text: "Part of a part", Level: 2},
		paper.Text{Text: "A paragraph."}, paper.Text{Text: "Fat.", Bold: true}, paper.Text{Text: "Fine print.", Small: true},
		paper.Facts{{Name: "Address", Says: "1 Quay Street\nsecond line"}},
		paper.List{Items: []string{"dot one", "dot two"}}, paper.List{Items: []string{"first", "second"}, Numbers: true}, paper.List{Items: []string{"tick me"}, Boxes: true},
		paper.Table{Head: []string{"Link", "Lost, dB"}, Rows: [][]string{{"nq", "3.1"}, {"sh", "0.0"}}, Shares: []float64{3, 1}, Right: []int{1}},
		paper.Picture{Of: &chart.Trend{Title: "A picture", Symbol: "dBm", To: made, Empty: "nothing kept"}, Size: chart.Half, Says: "what it shows"},
		paper.Cautions{Title: "Safety", Items: []string{"Never look into a fibre."}},
		paper.PageBreak{}, paper.Form{{Name: "What was found", Lines: 3}, {Name: "Signature"}},
	}}
}

var words = []string{"Every block", "and a line below", "at the foot", "A part", "Part of a part", "A paragraph.", "Fat.", "Fine print.", "1 Quay Street", "second line",
	"dot one", "first", "tick me", "Lost, dB", "3.1", "A picture", "nothing kept", "Safety", "Never look into a fibre.", "What was found", "Signature"}

func text(t *testing.T, d *paper.Document, f paper.Format) []string {
	t.Helper()
	program := need.Program(t, "pdftotext")
	data, err := d.PDF(f)
	require.NoError(t, err)
	cmd := exec.Command(program, "-layout", "-", "-")
	cmd.Stdin = bytes.NewReader(data)
	out, err := cmd.Output()
	require.NoError(t, err)
	pages := strings.Split(string(out), "\f")
	return pages[:len(pages)-1]
}

func TestTextIsPlain(t *testing.T) {
	d := every()
	d.Add(paper.List{Items: []string{strings.Repeat("word ", 30) + "\x1b[31mred", "two\nlines"}, Boxes: true})
	got := string(d.Text())
	for _, word := range []string{"Every block\n===========\n", "\nA part\n------\n", "Address  1 Quay Street\n         second line\n", "- dot one\n", "2. second\n", "[ ] tick me\n",
		"nq    3.1\n", "(Picture: what it shows)", "SAFETY\n!!!!!!\n! Never look into a fibre.\n", "Signature: ____", "[ ] word word", "\n    word", "[ ] two\n    lines\n"} {
		require.Contains(t, got, word)
	}
	require.NotContains(t, got, "\x1b")
	for line := range strings.Lines(got) {
		require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSpace(line)), 78, line)
	}
}

func TestEveryBlockIsOnPaper(t *testing.T) {
	html, err := every().HTML()
	require.NoError(t, err)
	pdf := text(t, every(), paper.A4)
	require.Len(t, pdf, 2, "the break begins a page")
	for _, word := range words {
		require.True(t, strings.Contains(string(html), word), "HTML: %s", word)
		require.True(t, strings.Contains(strings.Join(pdf, "\n"), word), "PDF: %s", word)
	}
	require.Contains(t, pdf[1], "2 of 2")
}

func TestSameDocumentSameBytes(t *testing.T) {
	one, err := every().PDF(paper.A4)
	require.NoError(t, err)
	for range 3 {
		again, err := every().PDF(paper.A4)
		require.NoError(t, err)
		require.True(t, bytes.Equal(one, again))
	}
}

// TestSizesOfPaper reads the box of the pages: 210 by 297 mm, 8.5 by 11 inch.
func TestSizesOfPaper(t *testing.T) {
	for format, box := range map[paper.Format]string{paper.A4: "595.28 841.89", paper.Letter: "612.00 792.00"} {
		data, err := every().PDF(format)
		require.NoError(t, err)
		require.True(t, bytes.HasPrefix(data, []byte("%PDF-1.")))
		require.True(t, bytes.Contains(data, []byte("/MediaBox [0 0 "+box+"]")), "%s", format)
	}
}

func TestHTMLAsksForNothingOutside(t *testing.T) {
	html, err := every().HTML()
	require.NoError(t, err)
	require.NotRegexp(t, `(src|href)=|url\(|@import|<script|<link| style=`, string(html))
	style := regexp.MustCompile(`(?s)<style>(.*)</style>`).FindSubmatch(html)
	sum := sha256.Sum256(style[1])
	require.Equal(t, paper.StylePolicy, "'sha256-"+base64.StdEncoding.EncodeToString(sum[:])+"'", "else a browser drops the style")
}

func TestTextStaysText(t *testing.T) {
	nasty := `<script>alert("x")</script></style> & (brackets) \ {pages}`
	d := &paper.Document{Title: nasty, Subtitle: nasty, Foot: nasty, Blocks: []paper.Block{
		paper.Heading{Text: nasty, Level: 1}, paper.Text{Text: nasty}, paper.Facts{{Name: nasty, Says: nasty}}, paper.List{Items: []string{nasty}},
		paper.Table{Head: []string{nasty}, Rows: [][]string{{nasty}}}, paper.Cautions{Title: nasty, Items: []string{nasty}}, paper.Form{{Name: nasty}},
		paper.Picture{Of: &chart.Trend{Title: nasty, To: made}, Size: chart.Half, Says: nasty},
	}}
	html, err := d.HTML()
	require.NoError(t, err)
	require.NotContains(t, string(html), "<script")
	require.Contains(t, strings.Join(text(t, d, paper.A4), ""), "(brackets)")
}

func TestLettersBeyondASCII(t *testing.T) {
	d := &paper.Document{Title: "Łódź, Αθήνα, Київ, Örnsköldsvik: −3.1 dB at 24 °C, 5 µW"}
	require.Contains(t, text(t, d, paper.A4)[0], "Łódź, Αθήνα, Київ, Örnsköldsvik: −3.1 dB at 24 °C, 5 µW")
}

// TestNothingIsCutByThePage: rows and cautions stay whole, heads come again,
// and no text runs below the foot.
func TestNothingIsCutByThePage(t *testing.T) {
	table := paper.Table{Head: []string{"Link", "Remark"}}
	for range 90 {
		table.Rows = append(table.Rows, []string{"row begins", "a remark that takes more than one line of its column, so that the row could be cut, and row ends"})
	}
	d := &paper.Document{Title: "Long", Blocks: []paper.Block{table, paper.Cautions{Title: "Safety", Items: []string{"one", "two", "three", "safety ends"}}}}
	pages := text(t, d, paper.Letter)
	require.Greater(t, len(pages), 3)
	for i, page := range pages {
		require.Equal(t, strings.Count(page, "row begins"), strings.Count(page, "row ends"), "page %d", i+1)
		require.Equal(t, strings.Contains(page, "Safety"), strings.Contains(page, "safety ends"), "page %d", i+1)
		if strings.Contains(page, "row begins") {
			require.Contains(t, page, "Remark", "the head comes again")
		}
	}
}

func TestOddDocuments(t *testing.T) {
	for name, d := range map[string]*paper.Document{
		"empty":          {},
		"heading last":   {Blocks: []paper.Block{paper.Heading{Text: "end", Level: 1}}},
		"empty blocks":   {Blocks: []paper.Block{paper.Facts{}, paper.List{}, paper.Table{}, paper.Cautions{}, paper.Form{}, paper.Text{}}},
		"short row":      {Blocks: []paper.Block{paper.Table{Head: []string{"a", "b"}, Rows: [][]string{{"1"}}}}},
		"one long word":  {Blocks: []paper.Block{paper.Text{Text: strings.Repeat("x", 3000)}}},
		"very long item": {Blocks: []paper.Block{paper.List{Items: []string{strings.Repeat("word ", 3000)}}}},
		"not UTF-8":      {Title: "a\xff\xfeb", Blocks: []paper.Block{paper.Text{Text: "\xc3("}}},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := d.HTML()
			require.NoError(t, err)
			_, err = d.PDF(paper.A4)
			require.NoError(t, err)
		})
	}
}
