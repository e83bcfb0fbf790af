package plant

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"lightwell/collector"
	"lightwell/collector/model"
)

// AgentInfo says which readings an agent shows.
type AgentInfo struct {
	Unit  string   // the unit whose agent it is
	Units []string // itself and those read via it
}

// An Object is one object instance of an agent.
type Object struct {
	OID   string // numeric, without leading dot
	Value model.Value
}

// agent is what does not change about an agent: its objects in order.
type agent struct {
	info   AgentInfo
	units  []int
	layout []Object // with the values of the system group that stay
	places [][]int  // of each unit: per point and object the place in the layout
}

// System group of SNMPv2-MIB (RFC 3418).
const (
	sysDescr    = "1.3.6.1.2.1.1.1.0"
	sysObjectID = "1.3.6.1.2.1.1.2.0"
	sysUpTime   = "1.3.6.1.2.1.1.3.0"
	sysName     = "1.3.6.1.2.1.1.5.0"
)

// Agents returns the units that have an agent of their own, in the order of
// the fleet.
func (p *Plant) Agents() []AgentInfo {
	all := make([]AgentInfo, len(p.agents))
	for i, a := range p.agents {
		all[i] = AgentInfo{a.info.Unit, slices.Clone(a.info.Units)}
	}
	return all
}

func (p *Plant) addAgents() error {
	for _, u := range p.units {
		if u.info.Via == "" {
			a := &agent{info: AgentInfo{u.id, []string{u.id}}, units: []int{u.index}}
			p.agents, p.agent[u.id] = append(p.agents, a), a
		}
	}
	for _, u := range p.units {
		if u.info.Via == "" {
			continue
		}
		a, ok := p.agent[u.info.Via]
		if !ok {
			return fmt.Errorf("unit %q is read via %q, which has no agent", u.id, u.info.Via)
		}
		a.info.Units, a.units = append(a.info.Units, u.id), append(a.units, u.index)
	}
	for _, a := range p.agents {
		if err := p.lay(a); err != nil {
			return err
		}
	}
	return nil
}

// lay orders the objects of an agent.
func (p *Plant) lay(a *agent) error {
	u := p.units[a.units[0]]
	owner := map[string]int{sysUpTime: u.index}
	all := []Object{
		{sysDescr, octets(cmp.Or(u.model.Recognise.SysDescr, u.model.Description))},
		{sysObjectID, model.Value{Kind: model.Object, OID: cmp.Or(u.model.Recognise.SysObjectID, "0.0")}},
		{sysUpTime, model.Value{}},
		{sysName, octets(u.id)},
	}
	for _, i := range a.units {
		for _, oid := range p.units[i].model.Objects() {
			other, taken := owner[oid]
			switch {
			case taken && other != i:
				return fmt.Errorf("units %q and %q are both read via %q and share object %s", p.units[other].id, p.units[i].id, a.info.Unit, oid)
			case !taken:
				all = append(all, Object{OID: oid})
				owner[oid] = i
			}
		}
	}
	slices.SortFunc(all, func(x, y Object) int { return CompareOID(x.OID, y.OID) })
	place := map[string]int{}
	for i, o := range all {
		place[o.OID] = i
	}
	for _, i := range a.units {
		var places []int
		for _, pt := range p.units[i].points {
			for _, oid := range pt.codec.Objects() {
				places = append(places, place[oid])
			}
		}
		a.places = append(a.places, places)
	}
	a.layout = all
	return nil
}

func octets(s string) model.Value { return model.Value{Kind: model.Bytes, Bytes: []byte(s)} }

// CompareOID orders object identifiers by their numbers, as SNMP does.
func CompareOID(a, b string) int {
	for a != "" && b != "" {
		var x, y string
		x, a, _ = strings.Cut(a, ".")
		y, b, _ = strings.Cut(b, ".")
		m, _ := strconv.ParseUint(x, 10, 32)
		n, _ := strconv.ParseUint(y, 10, 32)
		if c := cmp.Compare(m, n); c != 0 {
			return c
		}
	}
	return cmp.Compare(len(a), len(b))
}

// Objects returns what the agent of a unit shows when the wall clock says now:
// its own objects and those of the units read via it, with the system group
// of SNMPv2-MIB, sorted by number, without those that are missing now. silent
// tells that the agent does not answer at all, or that there is none. The
// caller owns the slice, not the octets in it.
func (p *Plant) Objects(agentUnit string, now time.Time) (objects []Object, silent bool) {
	a, ok := p.agent[agentUnit]
	if !ok {
		return nil, true
	}
	m := p.at(p.PlantTime(now))
	if m.silent(a) {
		return nil, true
	}
	all := slices.Clone(a.layout)
	ticks := m.ticks(a)
	for i, index := range a.units {
		if h, ok := m.hear(a, index); ok {
			h.fill(all, a.places[i])
		}
	}
	for i := range all {
		if all[i].OID == sysUpTime {
			all[i].Value = model.Value{Kind: model.Unsigned, Uint: uint64(ticks)}
		}
	}
	return slices.DeleteFunc(all, func(o Object) bool { return o.Value.Kind == model.Missing }), false
}

func (m *moment) silent(a *agent) bool {
	u := m.unit(a.units[0])
	return !u.on || u.effects.silent
}

// ticks returns sysUpTime of an agent, in hundredths of a second.
func (m *moment) ticks(a *agent) uint32 {
	return uint32(uint64(m.uptime(m.unit(a.units[0]))/(10*time.Millisecond)) & math.MaxUint32)
}

// heard is a unit as its agent last heard it.
type heard struct {
	*moment
	unit  *unitNow
	ticks uint32
	stale bool
}

// hear returns what an agent knows of a unit. When nothing comes through now,
// it has kept the last values; ok is false when it never heard the unit since
// the agent started.
func (m *moment) hear(a *agent, index int) (h heard, ok bool) {
	if u := m.unit(index); m.readable(u) {
		return heard{m, u, m.ticks(a), false}, true
	}
	began := m.unit(a.units[0]).agent
	past, _ := slices.BinarySearchFunc(m.faults.bounds, m.t.Add(time.Nanosecond), time.Time.Compare)
	for _, t := range slices.Backward(m.faults.bounds[:past]) {
		t = t.Add(-time.Nanosecond) // just before something changed
		if t.Before(began) {
			break
		}
		then := m.p.look(m.faults, t)
		if u := then.unit(index); !then.silent(a) && then.readable(u) {
			return heard{then, u, then.ticks(a), true}, true
		}
	}
	return heard{}, false
}

// raw returns what the agent shows for a point, in the order of its objects.
// A value that is old and could not tell so is missing.
func (h *heard) raw(pt *planned) []model.Value {
	if h.stale && !pt.tellsAge {
		return nil
	}
	v, quality := h.reading(h.unit, pt)
	return pt.codec.Encode(v, quality, h.ticks)
}

// fill puts the readings of a unit to their places.
func (h *heard) fill(all []Object, places []int) {
	for i := range h.unit.points {
		pt := &h.unit.points[i]
		for n, value := range h.raw(pt) {
			at := &all[places[n]].Value
			*at = model.Merge(*at, value)
		}
		places = places[pt.width:]
	}
}

// prober reads the plant without a network.
type prober struct{ p *Plant }

var _ collector.Prober = prober{}

// Prober returns a prober that reads the plant in the same process. Values
// pass through the encoding of the unit's model both ways.
func (p *Plant) Prober() collector.Prober { return prober{p} }

// Probe reads one unit. A silent agent is ErrNoAnswer, at once.
func (b prober) Probe(ctx context.Context, info collector.Unit) ([]collector.Reading, error) {
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("probe %q: %w", info.ID, err)
	}
	now := time.Now()
	return b.p.read(info.ID, b.p.PlantTime(now), now)
}

// ReadAt reads a unit at a plant time, as Probe does at the wall clock's. The
// readings carry that time.
func (p *Plant) ReadAt(unit string, at time.Time) ([]collector.Reading, error) {
	return p.read(unit, at, at)
}

func (p *Plant) read(unit string, at, taken time.Time) ([]collector.Reading, error) {
	index, ok := p.byUnit[unit]
	if !ok {
		return nil, fmt.Errorf("probe %q: the plant has no such unit", unit)
	}
	a := p.agent[cmp.Or(p.units[index].info.Via, unit)]
	m := p.at(at)
	if m.silent(a) {
		return nil, fmt.Errorf("probe %q: %w", unit, collector.ErrNoAnswer)
	}
	u, ticks := m.unit(index), m.ticks(a)
	h, ok := m.hear(a, index)
	readings := make([]collector.Reading, len(u.points))
	for i := range u.points {
		pt := &u.points[i]
		r := &readings[i]
		*r = collector.Reading{Unit: unit, Point: pt.codec.Point, Quality: collector.Unavailable, Taken: taken.Round(0).UTC()}
		if ok {
			d := pt.codec.Decode(h.raw(pt), ticks)
			r.Value, r.Quality, r.Age = d.Value, d.Quality, d.Age
		}
	}
	return readings, nil
}
