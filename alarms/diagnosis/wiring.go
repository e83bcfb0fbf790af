package diagnosis

import (
	"lightwell/alarms"
	"lightwell/collector"
	"lightwell/collector/budget"
)

// fibre is one direction of a link. Ends are indexes.
type fibre struct {
	link     *collector.Link
	path     *collector.Path
	down     bool
	from, to int     // units
	bend     float64 // loss of a bend against that at 1310 nm
	laser    int
	receiver int
}

// direction returns downlink or uplink.
func (f *fibre) direction() string {
	if f.down {
		return "downlink"
	}
	return "uplink"
}

// A port is an optical port of a unit, with the fibres at it.
type port struct {
	unit   int
	name   string
	fibres []int
}

// site is what is seen of a site: its wiring and the vector of cells.
type site struct {
	view      *alarms.View
	units     []*alarms.UnitView
	fibres    []fibre
	lasers    []port
	receivers []port
	pairs     [][]int // fibres of each link
	cables    []cable
	out, in   [][]int // fibres per unit
	byID      map[string]int
	cells     []cell
	atLaser   int     // index of the first cell of lasers
	atUnit    int     // and of units
	through   [][]int // per unit: those that are read through it
	dip       []int
	odd       []bool // per receiver, laser, unit: something there asks for a cause
	buffer    []touch
}

type cable struct {
	id     string
	fibres []int
}

// Cells are laid receiver by receiver, then laser by laser, then unit by unit.
const (
	perReceiver = int(Metered) + 1
	perLaser    = int(Warming-Sent) + 1
	perUnit     = int(signals - Silent)
)

// cellOf returns the index of the cell of a signal of a fibre, laser or unit.
func (s *site) cellOf(sig Signal, index int) int {
	switch {
	case sig <= Metered:
		return index*perReceiver + int(sig)
	case sig <= Warming:
		return s.atLaser + index*perLaser + int(sig-Sent)
	}
	return s.atUnit + index*perUnit + int(sig-Silent)
}

// wire finds the fibres of the site and what they end at.
func wire(v *alarms.View) *site {
	n := len(v.Units)
	s := &site{view: v, units: v.Units, byID: make(map[string]int, n), out: make([][]int, n), in: make([][]int, n)}
	for i, u := range v.Units {
		s.byID[u.Unit.ID] = i
	}
	s.through = make([][]int, n)
	for i, u := range v.Units {
		if via, ok := s.byID[u.Unit.Via]; ok && via != i {
			s.through[via] = append(s.through[via], i)
		}
	}
	links := v.Fleet.LinksAt(v.Site.ID)
	s.fibres = make([]fibre, 0, 2*len(links))
	for i := range links {
		l := &links[i]
		roof, known := s.byID[l.Outdoor]
		room, both := s.byID[l.Indoor]
		if !known || !both || roof == room {
			continue
		}
		ends := v.Fleet.Fibres(*l)
		s.pairs = append(s.pairs, []int{len(s.fibres), len(s.fibres) + 1})
		s.lay(fibre{link: l, path: &l.Downlink, down: true, from: roof, to: room}, &ends[0])
		s.lay(fibre{link: l, path: &l.Uplink, from: room, to: roof}, &ends[1])
	}
	return s
}

func (s *site) lay(f fibre, ends *collector.Fibre) {
	at := len(s.fibres)
	f.bend = 1
	if f.path.WavelengthNM > 0 {
		f.bend = float64(budget.BendLoss(1, f.path.WavelengthNM))
	}
	f.laser = join(&s.lasers, f.from, ends.From.Port, at)
	f.receiver = join(&s.receivers, f.to, ends.To.Port, at)
	s.fibres = append(s.fibres, f)
	s.out[f.from], s.in[f.to] = append(s.out[f.from], at), append(s.in[f.to], at)
	if f.path.Cable == "" {
		return
	}
	for i := range s.cables {
		if s.cables[i].id == f.path.Cable {
			s.cables[i].fibres = append(s.cables[i].fibres, at)
			return
		}
	}
	s.cables = append(s.cables, cable{f.path.Cable, []int{at}})
}

// join adds a fibre to the port of a unit, and returns the port's index.
func join(ports *[]port, unit int, name string, fibre int) int {
	for i := range *ports {
		if p := &(*ports)[i]; p.unit == unit && p.name == name {
			p.fibres = append(p.fibres, fibre)
			return i
		}
	}
	*ports = append(*ports, port{unit, name, []int{fibre}})
	return len(*ports) - 1
}

// carries tells whether the readings of the unit that a fibre comes from
// travel over it.
func (s *site) carries(f *fibre) bool {
	return s.units[f.from].Unit.Via != "" && s.units[f.from].Unit.Via == s.units[f.to].Unit.ID
}
