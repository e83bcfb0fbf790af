package chart

import (
	"math"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
)

// A Sample is what a point read at a time, or in the span that begins then.
type Sample struct {
	Time      time.Time
	Value     float64
	Low, High float64 // lowest and highest reading of the span; equal to Value where it is one
}

// A Level is a height with a name: a baseline, or a limit.
type Level struct {
	Value float64
	Name  string
	Limit bool // beyond it something fails
}

// An Outlook is a forecast: from a value on, a limit is reached between Lower
// and Upper from then.
type Outlook struct {
	From         time.Time
	Value, Limit float64
	Lower, Upper time.Duration
	Open         bool // Upper is not known
}

// A Mark is something that people did: a visit, or planned work. A mark
// without End is one moment, drawn as a line; else a span.
type Mark struct {
	Begin, End time.Time
	Name       string // short; "": none
}

// A Trend is the course of one point over time.
type Trend struct {
	Title       string
	Symbol      string         // unit of the values
	Zone        *time.Location // nil: UTC
	From, To    time.Time      // zero: as far as the samples reach
	Samples     []Sample       // by time
	Gap         time.Duration  // samples farther apart are not joined; 0: all are
	Levels      []Level
	Outlook     *Outlook
	Marks       []Mark
	Temperature []Sample // in °C; empty: none is drawn
	Empty       string   // what to say when there are no samples
}

const (
	temperatureShare = 0.3  // of the height
	headroom         = 0.08 // of the range, above and below
	leastRange       = 1.0  // of an axis: noise shall not look like a fault
	marksOnTime      = 9
)

func (t *Trend) draw(c draw.Canvas) {
	from, to := t.span()
	c.Max.X -= vg.Points(6)
	upper := t.plot(from, to)
	if len(t.Temperature) == 0 {
		upper.Draw(c)
		return
	}
	cut := vg.Length(temperatureShare) * (c.Max.Y - c.Min.Y)
	top, bottom := draw.Crop(c, 0, 0, cut+vg.Points(3), 0), draw.Crop(c, 0, 0, 0, cut-(c.Max.Y-c.Min.Y))
	lower := t.temperature(from, to)
	upper.X.Tick.Label.Color, upper.X.Tick.Marker = nil, unlabelled{upper.X.Tick.Marker}
	left := lower.DataCanvas(bottom).Min.X - upper.DataCanvas(top).Min.X
	upper.Draw(draw.Crop(top, max(0, left), 0, 0, 0))
	lower.Draw(draw.Crop(bottom, max(0, -left), 0, 0, 0))
}

// unlabelled are marks without words.
type unlabelled struct{ of plot.Ticker }

// Ticks is called by the plot.
func (u unlabelled) Ticks(low, high float64) []plot.Tick {
	out := u.of.Ticks(low, high)
	for i := range out {
		out[i].Label = " " // "" would be a minor mark
	}
	return out
}

// span returns the time that the picture shows.
func (t *Trend) span() (from, to float64) {
	from, to = seconds(t.From), seconds(t.To)
	if n := len(t.Samples); n > 0 {
		if t.From.IsZero() {
			from = seconds(t.Samples[0].Time)
		}
		if t.To.IsZero() {
			to = seconds(t.Samples[n-1].Time)
		}
	}
	if t.From.IsZero() && len(t.Samples) == 0 {
		from = to - day.Seconds()
	}
	if o := t.Outlook; o != nil {
		to = max(to, seconds(o.horizon(to-from)))
	}
	return from, max(to, from+time.Minute.Seconds())
}

// horizon is how far into the future the picture looks: to the far end of the
// forecast, but not farther than the past that it shows.
func (o *Outlook) horizon(past float64) time.Time {
	far := o.Upper
	if o.Open {
		far = 2 * o.Lower
	}
	return o.From.Add(min(far+far/10, time.Duration(max(past, day.Seconds())*float64(time.Second))))
}

func (t *Trend) zone() *time.Location {
	if t.Zone == nil {
		return time.UTC
	}
	return t.Zone
}

func (t *Trend) plot(from, to float64) *plot.Plot {
	p := frame(t.Title)
	p.Y.Label.Text = t.Symbol
	p.X.Min, p.X.Max = from, to
	p.X.Tick.Marker = calendar{t.zone(), marksOnTime}
	p.Y.Min, p.Y.Max = t.heights()
	p.Y.Tick.Marker = numbers(6)
	p.Add(spans(t.Marks), grid{})
	if t.Outlook != nil {
		p.Add(fan(*t.Outlook))
	}
	p.Add(course{samples: t.Samples, gap: t.Gap, ink: blue, band: pale})
	for _, l := range t.Levels {
		p.Add(l)
	}
	p.Add(moments(t.Marks))
	if len(t.Samples) == 0 {
		p.Add(remark(t.Empty))
	}
	return p
}

// farLimit is how many times the range of the values a limit may lie beyond
// them and still be shown: one farther away would flatten the course.
const farLimit = 3

// heights returns the range of the values: all samples, the baseline, limits
// that are near, and the limit that a forecast aims at.
func (t *Trend) heights() (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	take := func(v float64) { low, high = min(low, v), max(high, v) }
	for _, s := range t.Samples {
		take(s.Low)
		take(s.High)
	}
	for _, l := range t.Levels {
		if !l.Limit {
			take(l.Value)
		}
	}
	if t.Outlook != nil {
		take(t.Outlook.Limit)
	}
	reach := farLimit * max(high-low, leastRange)
	for _, l := range t.Levels {
		if l.Limit && (low > high || low-l.Value <= reach && l.Value-high <= reach) {
			take(l.Value)
		}
	}
	low, high = roomy(low, high)
	if len(t.Marks) > 0 { // room for their names
		high += headroom * (high - low)
	}
	return low, high
}

// roomy widens a range so that nothing touches the frame.
func roomy(low, high float64) (float64, float64) {
	if low > high {
		return 0, 1
	}
	if lack := leastRange - (high - low); lack > 0 {
		low, high = low-lack/2, high+lack/2
	}
	room := headroom * (high - low)
	return low - room, high + room
}

func (t *Trend) temperature(from, to float64) *plot.Plot {
	p := frame("")
	p.Y.Label.Text = "°C"
	p.X.Min, p.X.Max = from, to
	p.X.Tick.Marker = calendar{t.zone(), marksOnTime}
	low, high := math.Inf(1), math.Inf(-1)
	for _, s := range t.Temperature {
		low, high = min(low, s.Low), max(high, s.High)
	}
	p.Y.Min, p.Y.Max = roomy(low, high)
	p.Y.Tick.Marker = numbers(2)
	p.Add(grid{}, course{samples: t.Temperature, gap: t.Gap, ink: brown, band: faint})
	return p
}
