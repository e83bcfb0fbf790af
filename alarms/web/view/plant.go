package view

import (
	"slices"
	"strconv"
	"time"

	"lightwell/alarms"
	"lightwell/collector"
)

// Point is one point of a unit as read last.
type Point struct {
	Box       string            `json:"unit" doc:"Id of the unit."`
	Point     string            `json:"point" doc:"Quantity, and port where there are several."`
	Title     string            `json:"title"`
	Port      string            `json:"port,omitempty"`
	Symbol    string            `json:"symbol,omitempty" doc:"Unit of measure of value, baseline and deviation."`
	Value     *float64          `json:"value,omitempty" doc:"Only with quality good, and only while the unit answers."`
	State     string            `json:"state,omitempty" doc:"For enumerated quantities, in place of value."`
	Quality   collector.Quality `json:"quality"`
	Taken     time.Time         `json:"taken,omitzero"`
	Baseline  *float64          `json:"baseline,omitempty"`
	Spread    *float64          `json:"spread,omitempty"`
	Deviation *float64          `json:"deviation,omitempty" doc:"Value minus baseline at equal temperature."`
	Trend     *Trend            `json:"trend,omitempty" doc:"Of an optical power: how it has changed over weeks and months."`
	Laser     *Laser            `json:"laser,omitempty" doc:"Of a laser bias: how the laser has aged."`
	Current   bool              `json:"current" doc:"False: the unit does not answer, this is what it said last."`
	Decimals  int               `json:"-"`
	Worse     float64           `json:"-"` // deviation turned so that positive is worse
}

func point(u *alarms.UnitView, p collector.Point, pv alarms.PointView) Point {
	info, _ := p.Quantity.Info()
	v := Point{
		Box: u.Unit.ID, Point: p.String(), Title: info.Title, Port: p.Port, Symbol: info.Unit,
		Quality: pv.Reading.Quality, Taken: pv.Reading.Taken, Current: u.Up(), Decimals: info.Decimals,
	}
	if pv.Reading.Taken.IsZero() {
		v.Quality = collector.Unavailable
	}
	if v.Quality == collector.Good && v.Current {
		if v.State = pv.Reading.State(); info.States == nil {
			v.Value = &pv.Reading.Value
		}
	}
	if pv.Baseline != nil {
		v.Baseline, v.Spread = &pv.Baseline.Value, &pv.Baseline.Spread
	}
	v.Trend, v.Laser = newTrend(&pv), newLaser(&pv)
	if pv.Compared && v.Value != nil {
		v.Deviation = &pv.Deviation
		v.Worse = worse(info.Bad, pv.Deviation)
	}
	return v
}

func worse(bad collector.Bad, deviation float64) float64 {
	switch bad {
	case collector.BadLow:
		return -deviation
	case collector.BadHigh:
		return deviation
	case collector.BadEither:
		return max(deviation, -deviation)
	}
	return 0
}

// points returns all points of a unit: those of its equipment in their order,
// read or not, then whatever else was read.
func points(u *alarms.UnitView) []Point {
	out := make([]Point, 0, len(u.Points))
	known := make(map[collector.Point]bool, len(u.Points))
	for _, p := range u.Unit.Equipment.Points {
		known[p] = true
		out = append(out, point(u, p, u.Points[p]))
	}
	var extra []Point
	for p, pv := range u.Points {
		if !known[p] {
			extra = append(extra, point(u, p, pv))
		}
	}
	slices.SortFunc(extra, func(a, b Point) int { return compare(a.Point, b.Point) })
	return append(out, extra...)
}

func compare(a, b string) int {
	switch {
	case a < b:
		return -1
	case a > b:
		return 1
	}
	return 0
}

// find returns the unit's point of that quantity that belongs to its nth
// link: the only one, or the one whose port is n or its letter.
func find(u *alarms.UnitView, q collector.Quantity, nth int) *Point {
	if u == nil {
		return nil
	}
	for _, port := range []string{"", strconv.Itoa(nth), string(rune('a' + nth - 1))} {
		p := collector.Point{Quantity: q, Port: port}
		pv, ok := u.Points[p]
		if !ok && !slices.Contains(u.Unit.Equipment.Points, p) {
			continue
		}
		v := point(u, p, pv)
		return &v
	}
	return nil
}

// Direction is one of the two ways of a link: from the roof to the room
// (downlink) or back (uplink).
type Direction struct {
	From         string   `json:"from" doc:"Id of the unit whose laser it is."`
	To           string   `json:"to" doc:"Id of the unit that receives."`
	Cable        string   `json:"cable"`
	Strand       int      `json:"strand"`
	LengthM      float64  `json:"length_m,omitempty"`
	WavelengthNM float64  `json:"wavelength_nm"`
	Input        *Point   `json:"rf_input,omitempty"`
	Transmit     *Point   `json:"transmit,omitempty"`
	Receive      *Point   `json:"receive,omitempty"`
	Output       *Point   `json:"rf_output,omitempty"`
	LossDB       *float64 `json:"loss_db,omitempty" doc:"Transmit minus receive power."`
	ExtraLossDB  *float64 `json:"extra_loss_db,omitempty" doc:"Loss minus loss at commissioning; positive is worse."`
}

func (b *Board) direction(path collector.Path, from, to string, link string) Direction {
	cable, _ := b.Fleet.Cable(path.Cable)
	sender, receiver := b.units[from], b.units[to]
	i, j := b.nth(from, link), b.nth(to, link)
	d := Direction{
		From: from, To: to, Cable: path.Cable, Strand: path.Strand, LengthM: cable.LengthM, WavelengthNM: path.WavelengthNM,
		Input:    find(sender, collector.RFInputLevel, i),
		Transmit: find(sender, collector.OpticalTransmitPower, i),
		Receive:  find(receiver, collector.OpticalReceivePower, j),
		Output:   find(receiver, collector.RFOutputLevel, j),
	}
	d.LossDB = minus(value(d.Transmit), value(d.Receive))
	if rx := deviation(d.Receive); rx != nil {
		extra := -*rx
		if tx := deviation(d.Transmit); tx != nil {
			extra += *tx
		}
		d.ExtraLossDB = &extra
	}
	return d
}

// nth is the place of a link among those of its unit, from 1: an outdoor unit
// that feeds several indoor units has one port for each, in this order.
func (b *Board) nth(unit, link string) int {
	for i, l := range b.Fleet.LinksOf(unit) {
		if l.ID == link {
			return i + 1
		}
	}
	return 1
}

func value(p *Point) *float64 {
	if p == nil {
		return nil
	}
	return p.Value
}

func deviation(p *Point) *float64 {
	if p == nil {
		return nil
	}
	return p.Deviation
}

func minus(a, b *float64) *float64 {
	if a == nil || b == nil {
		return nil
	}
	d := *a - *b
	return &d
}

// Link is one link from the sky to the room.
type Link struct {
	ID       string        `json:"id"`
	Name     string        `json:"name,omitempty"`
	Site     string        `json:"site"`
	State    State         `json:"state" doc:"Severity of the worst alarm, else held, silent, commissioning or good."`
	Hurt     bool          `json:"hurt" doc:"An alarm is raised, and not one of something that a twin stands in for."`
	Use      collector.Use `json:"use"`
	Services []string      `json:"services,omitempty"`
	Outdoor  string        `json:"outdoor"`
	Indoor   string        `json:"indoor"`
	Downlink Direction     `json:"downlink"`
	Uplink   Direction     `json:"uplink"`
	// Findings are shared: not to be changed.
	Findings []alarms.Finding `json:"findings,omitempty" doc:"What the diagnosis found that touches the link, what explains most first."`
	Margin   *Margin          `json:"margin,omitempty" doc:"What is left before the service fails; missing while it is not known."`
}

func (b *Board) link(l collector.Link) Link {
	out := b.glance(l)
	out.Margin = b.margin(l)
	return out
}

// glance is a link without its margin, which the fleet at a glance does not
// show.
func (b *Board) glance(l collector.Link) Link {
	indoor, _ := b.Fleet.Unit(l.Indoor)
	resources := []string{"link/" + l.ID, "unit/" + l.Outdoor, "unit/" + l.Indoor, "cable/" + l.Downlink.Cable, "cable/" + l.Uplink.Cable}
	return Link{
		ID: l.ID, Name: l.Name, Site: indoor.Site, Use: l.Use, Services: l.Services, Outdoor: l.Outdoor, Indoor: l.Indoor,
		State:    b.state(b.fallback(l.Outdoor, l.Indoor), resources...),
		Hurt:     slices.ContainsFunc(resources, func(r string) bool { return b.hurt[r] }),
		Downlink: b.direction(l.Downlink, l.Outdoor, l.Indoor, l.ID),
		Uplink:   b.direction(l.Uplink, l.Indoor, l.Outdoor, l.ID),
		Findings: b.why["link/"+l.ID],
	}
}

// fallback is the state of units at which no alarm is raised.
func (b *Board) fallback(units ...string) State {
	state := StateGood
	for _, id := range units {
		switch u := b.units[id]; {
		case u == nil || !u.Up():
			return StateSilent
		case !u.Baselined:
			state = StateCommissioning
		}
	}
	return state
}

// Links returns all links, in the order of the fleet file.
func (b *Board) Links() []Link { return b.each(b.link) }

func (b *Board) each(link func(collector.Link) Link) []Link {
	out := make([]Link, len(b.Fleet.Links))
	for i, l := range b.Fleet.Links {
		out[i] = link(l)
	}
	return out
}
