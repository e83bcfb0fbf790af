package collector

import "time"

// Role says where in the link a unit stands.
type Role string

// Roles.
const (
	Outdoor Role = "outdoor"
	Indoor  Role = "indoor"
)

// Use says what a link feeds.
type Use string

// Uses.
const (
	Repeater   Use = "repeater"    // ceiling antennas
	DirectFeed Use = "direct-feed" // a cabled modem
)

// A Site is one place with an address, access notes and a time zone.
type Site struct {
	ID       string
	Name     string
	Address  string
	Access   string         // how to get in: keys, permits
	Location *time.Location // never nil in a loaded fleet
}

// A Cable is a sheath on a route; its fibres are strands.
type Cable struct {
	ID      string
	Site    string
	LengthM float64
	Route   string
}

// Limits are the absolute limits of a kind of equipment. A nil limit does not
// exist for that kind and is not judged.
type Limits struct {
	ReceivePowerMinDBm *float64
	ReceivePowerMaxDBm *float64
	BiasMaxMA          *float64
	TemperatureMinC    *float64
	TemperatureMaxC    *float64
	SupplyMinV         *float64
	SupplyMaxV         *float64
	LNAOpenBelowMA     *float64 // antenna feed current below it: open circuit
	LNAShortAboveMA    *float64 // above it: short circuit
	WarmUpBelowC       *float64 // below this case temperature a start needs warm-up
	WarmUpMax          time.Duration
}

// Equipment is what a unit's model says about it, apart from how to read it.
type Equipment struct {
	Model    string
	Supplies int
	Points   []Point
	Limits   Limits
	Optics   Optics
}

// Optics is what a kind of unit is built for: what a link is planned with.
// Gain and noise are those of a link whose laser it is, measured with a usual
// receiver of its make.
type Optics struct {
	TransmitPowerDBm *float64     // nominal; nil: not known
	TransmitSpreadDB float64      // standard deviation between units
	GainDB           *float64     // RF gain of a link at no optical loss; nil: not known
	Noise            []NoisePoint // noise figure of a link: at one optical loss, or at three or more
	AGCReserveDB     *float64     // RF gain that its receiver holds in reserve once set up for a link; nil: it has no gain control
	MonitorErrorDB   float64      // most that its power monitors are off
}

// A NoisePoint is the noise figure of a link at an optical loss.
type NoisePoint struct {
	LossDB        float64
	NoiseFigureDB float64
}

// A Unit is one box.
type Unit struct {
	ID          string
	Name        string
	Site        string
	Role        Role
	Equipment   Equipment
	Address     string // host:port it is read at; its own, or that of the unit named by Via
	Via         string // unit through which it is read; "" when it answers itself
	Credentials string // name of the SNMP credentials
	Poll        string // schedule: cron expression or @every; filled from unit, site, fleet or default
}

// A Path is one direction of a link: one strand of one cable.
type Path struct {
	Cable        string
	Strand       int
	WavelengthNM float64
	Connectors   int
	Splices      int
}

// RF describes what stands before the laser and what the service needs.
type RF struct {
	GainBeforeLaserDB        float64
	NoiseFigureBeforeLaserDB float64
	AntennaNoiseK            float64
	CarrierDBW               float64
	CN0MinDBHz               float64
}

// A Link is an outdoor unit, an indoor unit and two fibres. Up to
// MaxIndoorPerOutdoor links may share an outdoor unit.
type Link struct {
	ID       string
	Name     string
	Outdoor  string
	Indoor   string
	Use      Use
	Services []string
	Downlink Path // roof to inside
	Uplink   Path // inside to roof
	RF       *RF  // nil when the fleet file has no rf block
}

// MaxIndoorPerOutdoor is how many indoor units one outdoor unit can feed.
const MaxIndoorPerOutdoor = 4

// SeverityRule is one line of the user's severity assignment: for alarm type
// Type at Site or Unit (both empty: everywhere) use Severity. The more
// special line wins. The words are checked by who knows the alarm types.
type SeverityRule struct {
	Type     string
	Site     string
	Unit     string
	Severity string
}

// PlannedWork is a window during which alarms at the named resources are held
// back. Start is a cron expression (recurring) or an RFC 3339 time (once).
type PlannedWork struct {
	ID        string
	Resources []string // site/ID, unit/ID, link/ID, cable/ID
	Start     string
	Duration  time.Duration
	Location  *time.Location // zone of a cron start; never nil in a loaded fleet
	Reason    string
}

// A Fleet is everything that one or more fleet files describe. It does not
// change after loading: a reload makes a new one. Safe for concurrent use.
type Fleet struct {
	Sites       []Site
	Cables      []Cable
	Units       []Unit
	Links       []Link
	Severities  []SeverityRule
	PlannedWork []PlannedWork
	index       fleetIndex
}

type fleetIndex struct {
	sites     map[string]int
	cables    map[string]int
	units     map[string]int
	links     map[string]int
	siteUnits map[string][]int
	unitLinks map[string][]int
	siteLinks map[string][]int
}

// NewFleet indexes f for the lookup methods and returns it. Ids must be
// unique by kind; with doubles the last one wins.
func NewFleet(f Fleet) *Fleet {
	ix := fleetIndex{map[string]int{}, map[string]int{}, map[string]int{}, map[string]int{}, map[string][]int{}, map[string][]int{}, map[string][]int{}}
	for i, s := range f.Sites {
		ix.sites[s.ID] = i
	}
	for i, c := range f.Cables {
		ix.cables[c.ID] = i
	}
	for i, u := range f.Units {
		ix.units[u.ID] = i
		ix.siteUnits[u.Site] = append(ix.siteUnits[u.Site], i)
	}
	for i, l := range f.Links {
		ix.links[l.ID] = i
		ix.unitLinks[l.Outdoor] = append(ix.unitLinks[l.Outdoor], i)
		ix.unitLinks[l.Indoor] = append(ix.unitLinks[l.Indoor], i)
		if u, ok := ix.units[l.Indoor]; ok {
			ix.siteLinks[f.Units[u].Site] = append(ix.siteLinks[f.Units[u].Site], i)
		}
	}
	f.index = ix
	return &f
}

// Site returns the site of that id, and false when there is none.
func (f *Fleet) Site(id string) (Site, bool) { return at(f.Sites, f.index.sites, id) }

// Cable returns the cable of that id, and false when there is none.
func (f *Fleet) Cable(id string) (Cable, bool) { return at(f.Cables, f.index.cables, id) }

// Unit returns the unit of that id, and false when there is none.
func (f *Fleet) Unit(id string) (Unit, bool) { return at(f.Units, f.index.units, id) }

// Link returns the link of that id, and false when there is none.
func (f *Fleet) Link(id string) (Link, bool) { return at(f.Links, f.index.links, id) }

// UnitsAt returns the units of a site, in the order of the fleet file.
func (f *Fleet) UnitsAt(site string) []Unit { return pick(f.Units, f.index.siteUnits[site]) }

// LinksAt returns the links whose indoor unit is at the site.
func (f *Fleet) LinksAt(site string) []Link { return pick(f.Links, f.index.siteLinks[site]) }

// LinksOf returns the links that a unit is an end of.
func (f *Fleet) LinksOf(unit string) []Link { return pick(f.Links, f.index.unitLinks[unit]) }

func at[T any](all []T, index map[string]int, id string) (T, bool) {
	i, ok := index[id]
	if !ok {
		var zero T
		return zero, false
	}
	return all[i], true
}

func pick[T any](all []T, at []int) []T {
	out := make([]T, len(at))
	for i, j := range at {
		out[i] = all[j]
	}
	return out
}
