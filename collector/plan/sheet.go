package plan

import (
	"fmt"
	"math"

	"lightwell/collector/budget"
)

// A Sheet is the budget of one direction in numbers, for people and programs.
// What is not known is missing.
type Sheet struct {
	Link         string       `json:"link,omitempty"`
	Direction    string       `json:"direction"`
	From         string       `json:"from,omitempty"`
	To           string       `json:"to,omitempty"`
	LengthM      float64      `json:"length_m"`
	Connectors   int          `json:"connectors"`
	Splices      int          `json:"splices"`
	WavelengthNM float64      `json:"wavelength_nm"`
	SplitDB      float64      `json:"split_db"` // of splitter and combiner, within the losses
	Loss         SheetLoss    `json:"loss"`
	Light        *SheetLight  `json:"light,omitempty"`
	GainDB       *float64     `json:"rf_gain_db,omitempty"`
	NoiseFigure  *Span        `json:"noise_figure_db,omitempty"`
	CN0          *Span        `json:"cn0_dbhz,omitempty"`
	CN0Min       *float64     `json:"cn0_min_dbhz,omitempty"`
	CN0Ends      *Span        `json:"cn0_ends_loss_db,omitempty"` // optical loss at which C/N0 is down to that
	Failure      *SheetFailed `json:"failure,omitempty"`
	Against      []Row        `json:"against_loss"`
	Remarks      []string     `json:"remarks,omitempty"`
}

// SheetLoss is the optical loss between the units, in dB.
type SheetLoss struct {
	Mean  float64 `json:"mean_db"`
	SD    float64 `json:"sd_db"`
	Most  float64 `json:"most_db"`  // mean + 3 sd
	Worst float64 `json:"worst_db"` // every part at its limit
}

// SheetLight is the light expected at the receiver, in dBm.
type SheetLight struct {
	Mean  float64  `json:"mean_dbm"`
	SD    float64  `json:"sd_db"`
	Low   float64  `json:"low_dbm"`   // mean - 3 sd
	Worst float64  `json:"worst_dbm"` // every part at its limit
	Needs *float64 `json:"needs_dbm,omitempty"`
	Bears *float64 `json:"bears_dbm,omitempty"`
}

// A Span is a value with what it lies between; High is missing where it has no
// end.
type Span struct {
	Low      float64  `json:"low"`
	Expected float64  `json:"expected"`
	High     *float64 `json:"high,omitempty"`
}

// SheetFailed is the optical loss at which the service ends.
type SheetFailed struct {
	By   Cause `json:"by"`
	Loss Span  `json:"loss_db"`
	Left Span  `json:"left_db"` // above the mean loss
}

// A Row is what holds at an optical loss.
type Row struct {
	LossDB      float64  `json:"loss_db"`
	LightDBm    *float64 `json:"light_dbm,omitempty"`
	GainDB      *float64 `json:"rf_gain_db,omitempty"`
	NoiseFigure *Span    `json:"noise_figure_db,omitempty"`
	CN0         *Span    `json:"cn0_dbhz,omitempty"`
	CN0Lost     *Span    `json:"cn0_lost_db,omitempty"` // against the mean loss
}

// noEnd stands for a bound without end where a number is needed to sort by.
const noEnd = 1e3

// span rounds a range to hundredths; what never comes is far away.
func span(r budget.Range) *Span {
	clip := func(v float64) float64 { return round(min(max(v, -noEnd), noEnd)) }
	s := &Span{Low: clip(r.Low), Expected: clip(r.Middle)}
	if !math.IsInf(r.High, 1) {
		s.High = ptr(clip(r.High))
	}
	return s
}

func round(v float64) float64 { return math.Round(v*100) / 100 }

func ptr[T any](v T) *T { return &v }

// Sheet returns the budget of d, with rows up to a little beyond the loss at
// which the service ends.
func (d *Direction) Sheet(link string) Sheet {
	mean := d.Mean()
	s := Sheet{
		Link: link, Direction: d.Name, From: d.From.Unit, To: d.To.Unit, LengthM: round(d.Run.LengthKM * 1000),
		Connectors: d.Run.Connectors, Splices: d.Run.Splices, WavelengthNM: d.Path.WavelengthNM, SplitDB: round(float64(d.Split)),
		Loss: SheetLoss{round(float64(mean)), round(float64(d.Run.SD())), round(float64(d.Most())), round(float64(d.Worst()))},
	}
	if r, ok := d.Receive(); ok {
		s.Light = &SheetLight{round(r.Mean.Float()), round(float64(r.SD)), round(r.Low.Float()), round(r.Worst.Float()), d.Limits.ReceivePowerMinDBm, d.Limits.ReceivePowerMaxDBm}
	}
	now := d.Row(mean)
	s.GainDB, s.NoiseFigure, s.CN0 = now.GainDB, now.NoiseFigure, now.CN0
	if d.Service != nil {
		s.CN0Min = ptr(float64(d.Service.CN0Min))
	}
	if d.Radio() {
		s.CN0Ends = span(d.Service.Fails(d.Noise))
	}
	fails := d.Fails(d.Planned())
	last := noLimitRows
	if fails.Bounded() {
		m := float64(mean)
		left := budget.Range{Low: fails.Loss.Low - m, Middle: fails.Loss.Middle - m, High: fails.Loss.High - m}
		s.Failure = &SheetFailed{fails.By, *span(fails.Loss), *span(left)}
		last = min(max(math.Ceil(fails.Loss.Middle), math.Ceil(m))+beyondRows, maxRows)
	}
	for loss := 0.0; loss <= last; loss++ {
		s.Against = append(s.Against, d.Row(budget.DB(loss)))
	}
	s.Remarks = d.remarks(fails)
	return s
}

// Rows of a sheet: one for each dB.
const (
	noLimitRows = 15.0
	beyondRows  = 3
	maxRows     = 60
)

// Row returns what holds at an optical loss.
func (d *Direction) Row(loss budget.DB) Row {
	r := Row{LossDB: round(float64(loss))}
	if sent := d.Transmits.TransmitPowerDBm; sent != nil {
		r.LightDBm = ptr(round(budget.Level(*sent).Minus(loss).Float()))
	}
	if g, ok := d.Gain(loss); ok {
		r.GainDB = ptr(round(float64(g)))
	}
	if d.Noise.Known() {
		r.NoiseFigure = span(d.Noise.NoiseFigure(loss))
	}
	if d.Radio() {
		r.CN0, r.CN0Lost = span(d.Service.CN0(d.Noise, loss)), span(d.Service.CN0Lost(d.Noise, loss, d.Mean()))
	}
	return r
}

// littleLeft is the reserve for repairs and ageing below which a plan is
// remarked on: 3 dB (common practice).
const littleLeft = 3

// remarks says what a planner should change.
func (d *Direction) remarks(fails Failure) (out []string) {
	if over, yes := d.TooBright(); yes {
		out = append(out, fmt.Sprintf("the receiver may get %.1f dB more light than it bears: plan an attenuator of at least that", float64(over)))
	}
	if r, ok := d.Receive(); ok && d.Limits.ReceivePowerMinDBm != nil {
		switch least := budget.Level(*d.Limits.ReceivePowerMinDBm); {
		case r.Low.Below(least) > 0:
			out = append(out, "a sound link may get less light than the receiver needs: shorten it, or use fewer or better connectors")
		case r.Worst.Below(least) > 0:
			out = append(out, "with every part at its limit the receiver gets less light than it needs: measure each part when it is installed")
		}
	}
	switch left := fails.Loss.Middle - float64(d.Mean()); {
	case left <= 0:
		out = append(out, "it does not work as planned: "+fails.why()+" at the planned loss already")
	case left < littleLeft:
		out = append(out, fmt.Sprintf("only %.1f dB are left for repairs and ageing until %s; %d dB are usual", left, fails.why(), littleLeft))
	}
	return out
}

func (f Failure) why() string {
	switch f.By {
	case ByNoise:
		return "C/N0 is too low"
	case ByControl:
		return "gain control has no reserve"
	}
	return "the receiver gets too little light"
}
