package brief

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/brief/paper"
	"lightwell/alarms/margin"
	"lightwell/collector"
	"lightwell/collector/plan"
)

// A Certificate is the proof that a link was commissioned: what was planned,
// what was measured, who accepted it, and what is still open.
type Certificate struct {
	Link       string         `json:"link"`
	Name       string         `json:"name,omitempty"`
	Site       string         `json:"site"`
	Made       time.Time      `json:"made"`
	Accepted   bool           `json:"accepted" doc:"Both units have an accepted baseline that is in force."`
	Directions []Commissioned `json:"directions"`
	Units      []Accepted     `json:"units"`
	Open       []string       `json:"open" doc:"What is still open."`

	scene *scene
	link  collector.Link
}

// Commissioned is one direction, as planned and as measured.
type Commissioned struct {
	Direction   string   `json:"direction"`
	From        string   `json:"from"`
	To          string   `json:"to"`
	Cable       string   `json:"cable"`
	Strand      int      `json:"strand"`
	LengthM     float64  `json:"length_m,omitempty"`
	PlannedLoss float64  `json:"planned_loss_db" doc:"Mean of the plan."`
	MostLoss    float64  `json:"most_loss_db" doc:"Mean and three standard deviations."`
	Planned     *float64 `json:"planned_receive_dbm,omitempty"`
	Sent        *float64 `json:"transmit_dbm,omitempty" doc:"Measured."`
	Received    *float64 `json:"receive_dbm,omitempty" doc:"Measured."`
	Loss        *float64 `json:"loss_db,omitempty" doc:"Measured."`
	Verdict     string   `json:"verdict"`
}

// Accepted is the baseline of one unit.
type Accepted struct {
	Unit     string    `json:"unit"`
	Model    string    `json:"model"`
	Version  int       `json:"version" doc:"Of the baseline; 0: none is accepted."`
	Accepted time.Time `json:"accepted,omitzero"`
	By       string    `json:"by,omitempty"`
	Reason   string    `json:"reason,omitempty"`
	Forced   bool      `json:"forced,omitempty"`
	Points   int       `json:"points" doc:"That have a level."`

	record baseline.Record
}

// Certificate makes the certificate of a link.
func (w *Writer) Certificate(link string, now time.Time) (*Certificate, error) {
	l, s, err := w.sceneOf(link, now)
	if err != nil {
		return nil, err
	}
	c := &Certificate{Link: l.ID, Name: l.Name, Site: s.site.ID, Made: now, Accepted: true, Open: []string{}, scene: s, link: l}
	for _, id := range []string{l.Outdoor, l.Indoor} {
		c.unit(id, w.s.Baselines)
	}
	c.directions()
	c.alarms(w.s.Alarms(alarms.Filter{Site: s.site.ID, Clearance: alarms.ClearanceNotCleared, Shelving: alarms.ShelvingAny}))
	return c, nil
}

// unit takes the newest baseline of a unit, with what speaks against it.
func (c *Certificate) unit(id string, records func(string) []baseline.Record) {
	u, _ := c.scene.fleet.Unit(id)
	a := Accepted{Unit: id, Model: u.Equipment.Model}
	var all []baseline.Record
	if records != nil {
		all = records(id)
	}
	if len(all) == 0 {
		c.Accepted = false
		c.Open = append(c.Open, id+": no baseline is accepted.")
		c.Units = append(c.Units, a)
		return
	}
	r := all[len(all)-1]
	a.Version, a.Accepted, a.By, a.Reason, a.Forced, a.Points, a.record = r.Version, r.Accepted, r.By, r.Reason, r.Forced, len(r.Levels), r
	if r.Model != u.Equipment.Model {
		c.Accepted = false
		c.Open = append(c.Open, fmt.Sprintf("%s: baseline %d was taken on a %s; the unit is a %s now.", id, r.Version, r.Model, u.Equipment.Model))
	}
	for _, f := range r.Findings {
		c.Open = append(c.Open, id+", accepted in spite of: "+strings.TrimSuffix(f, ".")+".")
	}
	c.Units = append(c.Units, a)
}

// level is what a point read when its unit was accepted.
func (c *Certificate) level(unit string, p collector.Point) (baseline.Level, bool) {
	i := slices.IndexFunc(c.Units, func(a Accepted) bool { return a.Unit == unit })
	if i < 0 {
		return baseline.Level{}, false
	}
	l, ok := c.Units[i].record.Levels[p]
	return l, ok
}

func (c *Certificate) directions() {
	f := c.scene.fleet
	planned, measured := plan.Of(f, c.link), margin.Accept(f, c.link, c.level)
	for i := range planned.Directions {
		d, m := &planned.Directions[i], measured[i]
		cable, _ := f.Cable(d.Path.Cable)
		row := Commissioned{
			Direction: d.Name, From: d.From.Unit, To: d.To.Unit, Cable: d.Path.Cable, Strand: d.Path.Strand, LengthM: cable.LengthM,
			PlannedLoss: float64(d.Mean()), MostLoss: float64(d.Most()), Verdict: string(m.Verdict),
		}
		if r, ok := d.Receive(); ok {
			v := r.Mean.Float()
			row.Planned = &v
		}
		row.Sent, row.Received = c.value(d.From.Unit, d.Transmitter()), c.value(d.To.Unit, d.Receiver())
		if row.Sent != nil && row.Received != nil {
			loss := *row.Sent - *row.Received
			row.Loss = &loss
		}
		switch m.Verdict {
		case margin.AsPlanned:
		case margin.Unknown:
			c.Open = append(c.Open, d.Name+": cannot be compared with the plan: nothing was measured, or the receiver is shared by several fibres. Measure with a meter.")
		default:
			c.Open = append(c.Open, d.Name+": "+string(m.Verdict)+" against the plan.")
		}
		c.Directions = append(c.Directions, row)
	}
}

func (c *Certificate) value(unit string, p collector.Point) *float64 {
	l, ok := c.level(unit, p)
	if !ok {
		return nil
	}
	return &l.Value
}

// alarms lists what is raised at the link now.
func (c *Certificate) alarms(list []alarms.Alarm) {
	own := []string{"link/" + c.Link, "unit/" + c.link.Outdoor, "unit/" + c.link.Indoor, "cable/" + c.link.Downlink.Cable, "cable/" + c.link.Uplink.Cable}
	for _, a := range list {
		mine := slices.ContainsFunc(own, func(r string) bool {
			return a.Resource == r || strings.HasPrefix(a.Resource, r+"/") || slices.Contains(a.Details.Impacted, r)
		})
		if mine && a.Hold.Reason != alarms.HoldSymptom {
			c.Open = append(c.Open, "Raised now, "+a.Severity.String()+": "+a.Text)
		}
	}
}

// What fits the page.
const (
	mostOpen   = 5   // open points
	mostLevels = 6   // of a unit
	openWidth  = 112 // letters of a line of open points
	remarkSize = 70  // letters of a remark
)

// cut shortens a text to so many letters.
func cut(text string, letters int) string {
	if r := []rune(text); len(r) > letters {
		return strings.TrimSpace(string(r[:letters-1])) + "\u2026"
	}
	return text
}

// Document sets the certificate on one page.
func (c *Certificate) Document() *paper.Document {
	s := c.scene
	d := &paper.Document{
		Title: "Commissioning certificate: " + named(c.Name, c.Link), Subtitle: s.siteName() + ", state of " + s.local(c.Made), Dense: true,
		Foot: "Commissioning certificate " + c.Link + ", " + s.local(c.Made), Made: c.Made,
	}
	word := "Accepted: both units have a baseline that is in force."
	if !c.Accepted {
		word = "Not accepted: see the open points."
	}
	d.Add(paper.Text{Text: word, Bold: true}, paper.Facts{
		{Name: "Link", Says: c.Link + ", " + string(c.link.Use)}, {Name: "Services", Says: named(strings.Join(c.link.Services, ", "), "\u2013")},
		{Name: "Address", Says: named(s.site.Address, "\u2013")},
	})
	d.Add(c.planTables()...)
	d.Add(c.unitTables()...)
	open := make([]string, 0, mostOpen+1)
	shown := c.Open[:min(len(c.Open), mostOpen)]
	for _, o := range shown {
		open = append(open, cut(o, openWidth*(mostOpen/len(shown)))) // few points may have more lines each
	}
	if more := len(c.Open) - mostOpen; more > 0 {
		open = append(open, fmt.Sprintf("and %d more: lightwell alarms, lightwell commission show link/%s", more, c.Link))
	}
	d.Add(paper.Heading{Text: "Open points", Level: 1})
	if len(open) == 0 {
		d.Add(paper.Text{Text: "None."})
	} else {
		d.Add(paper.List{Items: open, Boxes: true})
	}
	d.Add(paper.Heading{Text: "Signatures", Level: 1}, paper.Form{{Name: "For the installer: name, date, signature"}, {Name: "For the operator: name, date, signature"}})
	return d
}

func (c *Certificate) planTables() []paper.Block {
	t := paper.Table{
		Head:   []string{"Direction", "Fibre", "Planned loss, dB", "At most, dB", "Planned at receiver, dBm", "Sent, dBm", "Received, dBm", "Loss, dB", "Verdict"},
		Shares: []float64{1.1, 1.7, 0.9, 0.8, 1.2, 0.8, 1, 0.7, 1.3}, Right: []int{2, 3, 4, 5, 6, 7},
	}
	for i := range c.Directions {
		r := &c.Directions[i]
		fibre := fmt.Sprintf("%s, strand %d, %.0f m", r.Cable, r.Strand, r.LengthM)
		t.Rows = append(t.Rows, []string{r.Direction, fibre, signed(r.PlannedLoss, 2), signed(r.MostLoss, 2), figure(r.Planned, 1), figure(r.Sent, 2), figure(r.Received, 2), figure(r.Loss, 2), r.Verdict})
	}
	return []paper.Block{
		paper.Heading{Text: "Light: plan and measurement", Level: 1}, t,
		paper.Text{Text: "At most is the mean of the plan and three standard deviations. Power monitors may each be off by some decibels: a doubtful value is decided by a meter.", Small: true},
	}
}

// certified are the quantities whose levels the certificate shows.
var certified = []collector.Quantity{
	collector.OpticalTransmitPower, collector.OpticalReceivePower, collector.LaserBias, collector.RFInputLevel, collector.RFOutputLevel, collector.SupplyVoltage,
}

func (c *Certificate) unitTables() []paper.Block {
	t := paper.Table{Head: []string{"Unit", "Model", "Baseline", "Accepted", "By", "Remark"}, Shares: []float64{1.3, 1.4, 0.7, 1.5, 1, 2}}
	levels := paper.Table{Head: []string{"Unit", "Point", "Level", "Spread", "Unit of measure", "Readings"}, Shares: []float64{1.5, 2.4, 0.8, 0.8, 1, 0.8}, Right: []int{2, 3, 5}}
	for i := range c.Units {
		a := &c.Units[i]
		version, when := "none", ""
		if a.Version > 0 {
			version, when = fmt.Sprintf("version %d", a.Version), c.scene.local(a.Accepted)
		}
		remark := a.Reason
		if a.Forced {
			remark = "forced: " + remark
		}
		t.Rows = append(t.Rows, []string{a.Unit, a.Model, version, when, a.By, cut(remark, remarkSize)})
		rows := a.levels()
		levels.Rows = append(levels.Rows, rows[:min(len(rows), mostLevels)]...)
	}
	out := []paper.Block{paper.Heading{Text: "Baselines", Level: 1}, t}
	if len(levels.Rows) > 0 {
		out = append(out, paper.Heading{Text: "Measured levels", Level: 1}, levels)
	}
	return out
}

// levels are rows in the order of certified.
func (a *Accepted) levels() (rows [][]string) {
	for _, q := range certified {
		info, _ := q.Info()
		begin := len(rows)
		for p, l := range a.record.Levels {
			if p.Quantity == q {
				rows = append(rows, []string{a.Unit, p.String(), signed(l.Value, info.Decimals), signed(l.Spread, 3), info.Unit, fmt.Sprint(l.Samples)})
			}
		}
		slices.SortFunc(rows[begin:], func(x, y []string) int { return strings.Compare(x[1], y[1]) })
	}
	return rows
}
