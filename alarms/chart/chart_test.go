package chart_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"flag"
	"image/png"
	"io"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms/chart"
)

var update = flag.Bool("update", false, "write the golden files anew")

// golden compares with testdata/name, or writes it.
func golden(t *testing.T, name string, got []byte) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.MkdirAll("testdata", 0o755))
		require.NoError(t, os.WriteFile(path, got, 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err, "run the test with -update once, and look at the picture")
	require.Equal(t, string(want), string(got))
}

var (
	zone     = time.FixedZone("two hours east", 2*3600)
	begun    = time.Date(2026, 1, 12, 9, 0, 0, 0, time.UTC)
	wellFrom = 200 * 24 * time.Hour
)

// fading is a year of days at -6.4 dBm that loses 3 dB from the 200th day on,
// with a gap of a week.
func fading() *chart.Trend {
	p := &chart.Trend{
		Title: "North hall, downlink: optical receive power", Symbol: "dBm", Zone: zone, Gap: 49 * time.Hour,
		Levels: []chart.Level{{Value: -6.4, Name: "baseline \u22126.4 dBm"}, {Value: -14.2, Name: "service fails at \u221214.2 dBm", Limit: true}},
		Marks: []chart.Mark{
			{Begin: begun.Add(100 * 24 * time.Hour), Name: "visit"},
			{Begin: begun.Add(104 * 24 * time.Hour), Name: "visit"},
			{Begin: begun.Add(150 * 24 * time.Hour), End: begun.Add(157 * 24 * time.Hour), Name: "planned work"},
		},
	}
	for i := range 330 {
		at := begun.Add(time.Duration(i) * 24 * time.Hour)
		if i > 150 && i < 157 {
			continue
		}
		season := math.Sin(float64(i) / 365 * 2 * math.Pi)
		v := -6.4 + 0.2*math.Sin(float64(i)*0.9) - 3*max(0, at.Sub(begun.Add(wellFrom)).Hours()/24)/130
		p.Samples = append(p.Samples, chart.Sample{Time: at, Value: v, Low: v - 0.15, High: v + 0.12})
		p.Temperature = append(p.Temperature, chart.Sample{Time: at, Value: 22 + 9*season, Low: 18 + 9*season, High: 27 + 9*season})
	}
	last := p.Samples[len(p.Samples)-1]
	p.Outlook = &chart.Outlook{From: last.Time, Value: last.Value, Limit: -14.2, Lower: 62 * 24 * time.Hour, Upper: 335 * 24 * time.Hour}
	return p
}

func curve() *chart.Curve {
	k := &chart.Curve{
		Title: "C/N0 against optical loss", X: "optical loss, dB", Y: "C/N0, dB-Hz",
		Levels:   []chart.Level{{Value: 35, Name: "service needs 35 dB-Hz", Limit: true}},
		Uprights: []chart.Upright{{X: 1.3, Name: "planned 1.3 dB"}, {X: 4.3, Name: "now 4.3 dB"}, {X: 15.2, Name: "fails at 15.2 dB", Limit: true}},
	}
	var best, worst chart.Line
	for x := 0.0; x <= 20; x += 0.25 {
		y := 45 - 10*math.Log10(1+math.Pow(10, (x-12)/5))
		best.Places = append(best.Places, chart.Place{X: x, Y: y + 1})
		worst.Places = append(worst.Places, chart.Place{X: x, Y: y - 2})
		k.Low = append(k.Low, chart.Place{X: x, Y: y - 2})
		k.High = append(k.High, chart.Place{X: x, Y: y + 1})
	}
	best.Name, worst.Name = "shot noise only", "thermal noise only"
	k.Lines = []chart.Line{best, worst}
	return k
}

func TestPictures(t *testing.T) {
	open := fading()
	open.Outlook.Open, open.Temperature, open.Marks = true, nil, nil
	for name, p := range map[string]chart.Picture{
		"trend.svg": fading(), "open-end.svg": open, "curve.svg": curve(),
		"empty.svg": &chart.Trend{Title: "North hall", Symbol: "dBm", To: begun, Empty: "no history is kept here"},
	} {
		t.Run(name, func(t *testing.T) {
			got := chart.SVG(p, chart.Wide)
			golden(t, name, got)
			require.Equal(t, got, chart.SVG(p, chart.Wide), "the same data, the same picture")
			wellFormed(t, got)
		})
	}
}

func wellFormed(t *testing.T, svg []byte) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		require.NoError(t, err)
		if e, ok := token.(xml.StartElement); ok {
			for _, a := range e.Attr {
				require.NotContains(t, []string{"style", "href", "onload"}, a.Name.Local, "the page forbids it, or it would load something")
				require.NotContains(t, a.Value, "NaN")
				require.NotContains(t, a.Value, "Inf")
			}
		}
	}
}

func TestNamesFromOutsideStayText(t *testing.T) {
	p := fading()
	p.Title = `<script>alert("1")</script> & more`
	got := string(chart.SVG(p, chart.Wide))
	require.NotContains(t, got, "<script>")
	require.Contains(t, got, "&lt;script&gt;")
}

func TestPNG(t *testing.T) {
	got, err := chart.PNG(fading(), chart.Size{WidthMM: 127, HeightMM: 50.8}, 100)
	require.NoError(t, err)
	picture, err := png.Decode(bytes.NewReader(got))
	require.NoError(t, err)
	require.Equal(t, 500, picture.Bounds().Dx())
	require.Equal(t, 200, picture.Bounds().Dy())
	again, err := chart.PNG(fading(), chart.Size{WidthMM: 127, HeightMM: 50.8}, 100)
	require.NoError(t, err)
	require.Equal(t, got, again)
}

func TestOddData(t *testing.T) {
	at := chart.Sample{Time: begun, Value: -6.4, Low: -6.4, High: -6.4}
	for name, p := range map[string]*chart.Trend{
		"nothing at all":   {},
		"one sample":       {Samples: []chart.Sample{at}},
		"two equal ones":   {Samples: []chart.Sample{at, at}},
		"levels only":      {Levels: []chart.Level{{Value: -6.4, Name: "baseline"}}},
		"forecast at once": {Samples: []chart.Sample{at}, Outlook: &chart.Outlook{From: begun, Value: -6.4, Limit: -6.4}},
		"mark outside":     {Samples: []chart.Sample{at}, Marks: []chart.Mark{{Begin: begun.AddDate(-9, 0, 0), Name: "visit"}}},
	} {
		t.Run(name, func(t *testing.T) { wellFormed(t, chart.SVG(p, chart.Wide)) })
	}
	wellFormed(t, chart.SVG(&chart.Curve{}, chart.Wide))
}

// texts returns what is written in a picture, in the order of writing.
func texts(t *testing.T, p chart.Picture) (out []string) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(chart.SVG(p, chart.Wide)))
	inside := false
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err)
		switch token := token.(type) {
		case xml.StartElement:
			inside = token.Name.Local == "text"
		case xml.EndElement:
			inside = false
		case xml.CharData:
			if inside && strings.TrimSpace(string(token)) != "" {
				out = append(out, string(token))
			}
		}
	}
}

func TestTimesAreThoseOfTheZone(t *testing.T) {
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	beirut, err := time.LoadLocation("Asia/Beirut") // the clock skips midnight in spring
	require.NoError(t, err)
	for name, c := range map[string]struct {
		zone     *time.Location
		from, to string
		want     []string
	}{
		"hours":                    {berlin, "2026-01-10T05:00:00Z", "2026-01-10T16:00:00Z", []string{"06:00", "10 Jan 2026", "09:00", "12:00", "15:00"}},
		"hours when clocks go on":  {berlin, "2026-03-28T23:00:00Z", "2026-03-29T11:00:00Z", []string{"00:00", "29 Mar 2026", "03:00", "06:00", "09:00", "12:00"}},
		"half days":                {berlin, "2026-03-28T12:00:00Z", "2026-03-30T12:00:00Z", []string{"18:00", "28 Mar 2026", "00:00", "29 Mar 2026", "06:00", "12:00", "18:00", "00:00", "30 Mar 2026", "06:00", "12:00"}},
		"days without midnight":    {beirut, "2026-03-26T12:00:00Z", "2026-04-01T12:00:00Z", []string{"27 Mar", "2026", "28 Mar", "29 Mar", "30 Mar", "31 Mar", "1 Apr"}},
		"months over the new year": {berlin, "2025-10-15T00:00:00Z", "2026-04-15T00:00:00Z", []string{"Nov", "2025", "Dec", "Jan", "2026", "Feb", "Mar", "Apr"}},
		"years":                    {berlin, "2011-06-01T00:00:00Z", "2024-06-01T00:00:00Z", []string{"2012", "2014", "2016", "2018", "2020", "2022", "2024"}},
	} {
		t.Run(name, func(t *testing.T) {
			from, err := time.Parse(time.RFC3339, c.from)
			require.NoError(t, err)
			to, err := time.Parse(time.RFC3339, c.to)
			require.NoError(t, err)
			got := texts(t, &chart.Trend{Zone: c.zone, From: from, To: to})
			require.Subset(t, got, c.want)
			require.Equal(t, c.want, got[:len(c.want)])
		})
	}
}

func BenchmarkTrendSVG(b *testing.B) {
	p := fading()
	b.ReportAllocs()
	for b.Loop() {
		chart.SVG(p, chart.Wide)
	}
}

func BenchmarkTrendPNG(b *testing.B) {
	p := fading()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := chart.PNG(p, chart.Wide, 150); err != nil {
			b.Fatal(err)
		}
	}
}
