package web

import (
	"fmt"
	"strings"

	"lightwell/alarms/web/view"
)

// Sizes of a band, in its own units.
const (
	bandRow   = 40  // links in one row
	bandCell  = 7.0 // from one link to the next
	bandWell  = 2.5 // width of one direction
	bandHigh  = 16.0
	bandPitch = 20.0 // from one row to the next
	bandNoise = 0.3  // dB that are not worth a drawing
)

// band draws all links of a site in little space: two wells for each link,
// full of light as at commissioning but for what is lost.
type band struct {
	Width, Height float64
	Rows          []bandLine
	Lost          string // path of what is lost
	Unknown       string // path of directions that cannot be compared
	Frames        []bandFrame
	Said          string // all of it in words
}

type bandLine struct{ Y, Width float64 }

// bandFrame are the frames around links of one state.
type bandFrame struct {
	State view.State
	Path  string
}

// framed are the states that are framed, worst first.
var framed = []view.State{"critical", "major", "minor", "warning", "indeterminate", view.StateHeld, view.StateSilent}

func newBand(links []view.Link) band {
	var b band
	var lost, unknown strings.Builder
	frames, count := map[view.State]*strings.Builder{}, map[view.State]int{}
	for i := range links {
		l := &links[i]
		x, y := bandCell*float64(i%bandRow), bandPitch*float64(i/bandRow)
		b.Width, b.Height = max(b.Width, x+bandCell), y+bandHigh
		for j, d := range []view.Direction{l.Downlink, l.Uplink} {
			well(&lost, &unknown, x+(bandWell+.5)*float64(j), y, d.ExtraLossDB)
		}
		count[l.State]++
		if frames[l.State] == nil {
			frames[l.State] = &strings.Builder{}
		}
		fmt.Fprintf(frames[l.State], "M%g %gh6v18h-6z", x-.5, y-1)
	}
	for i := 0; i < len(links); i += bandRow {
		b.Rows = append(b.Rows, bandLine{bandPitch * float64(i/bandRow), bandCell * float64(min(bandRow, len(links)-i))})
	}
	b.Lost, b.Unknown = lost.String(), unknown.String()
	var said []string
	for _, s := range append(framed, view.StateCommissioning, view.StateGood) {
		if count[s] > 0 {
			said = append(said, fmt.Sprintf("%d %s", count[s], s))
		}
	}
	for _, s := range framed {
		if frames[s] != nil {
			b.Frames = append(b.Frames, bandFrame{s, frames[s].String()})
		}
	}
	b.Said = strings.Join(said, ", ")
	return b
}

// well draws what is missing of the light of one direction.
func well(lost, unknown *strings.Builder, x, y float64, extra *float64) {
	switch {
	case extra == nil:
		fmt.Fprintf(unknown, "M%g %gh%gv%gh-%gz", x, y, bandWell, bandHigh, bandWell)
	case *extra >= bandNoise:
		fmt.Fprintf(lost, "M%g %gh%gv%.1fh-%gz", x, y, bandWell, bandHigh*min(*extra/wellDB, 1), bandWell)
	}
}

// ViewWidth is the width with room for frames.
func (b band) ViewWidth() float64 { return b.Width + 1 }

// ViewHeight is the height with room for frames.
func (b band) ViewHeight() float64 { return b.Height + 3 }

// PxWidth is the width on the page in pixels, so that wells are equally large
// everywhere.
func (b band) PxWidth() int { return int(b.ViewWidth() * 1.4) }
