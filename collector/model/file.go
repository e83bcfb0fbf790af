package model

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"lightwell/collector"
	"lightwell/collector/document"
)

// fileLayout is a model file as it is written.
type fileLayout struct {
	Model       string   `yaml:"model,required"`
	Description string   `yaml:"description"`
	Roles       []string `yaml:"roles,required"`
	Recognise   struct {
		SysObjectID string `yaml:"sysObjectID"`
		SysDescr    string `yaml:"sysDescr"`
	} `yaml:"recognise"`
	Supplies  int               `yaml:"supplies,required"`
	Timestamp string            `yaml:"timestamp"`
	MaxAge    document.Duration `yaml:"max_age"`
	Points    []pointLayout     `yaml:"points,required"`
	Limits    limitsLayout      `yaml:"limits"`
	Optics    opticsLayout      `yaml:"optics"`
}

type limitsLayout struct {
	ReceivePowerMinDBm *float64          `yaml:"receive_power_min_dbm"`
	ReceivePowerMaxDBm *float64          `yaml:"receive_power_max_dbm"`
	BiasMaxMA          *float64          `yaml:"bias_max_ma"`
	TemperatureMinC    *float64          `yaml:"temperature_min_c"`
	TemperatureMaxC    *float64          `yaml:"temperature_max_c"`
	SupplyMinV         *float64          `yaml:"supply_min_v"`
	SupplyMaxV         *float64          `yaml:"supply_max_v"`
	LNAOpenBelowMA     *float64          `yaml:"lna_open_below_ma"`
	LNAShortAboveMA    *float64          `yaml:"lna_short_above_ma"`
	WarmUpBelowC       *float64          `yaml:"warm_up_below_c"`
	WarmUpMax          document.Duration `yaml:"warm_up_max"`
}

// loader checks one file and builds its model. It goes on after a fault, so
// that all of them are found.
type loader struct {
	doc    *document.File
	layout fileLayout
	faults document.Faults
	stamp  string // object identifier of the model's time stamp; "": none
}

func (l *loader) fault(path, remedy, what string, args ...any) {
	l.faults = append(l.faults, l.doc.Fault(path, remedy, what, args...))
}

// Parse reads one model from a model file. The error is document.Faults:
// everything that is wrong with it.
func Parse(name string, data []byte) (*Model, error) {
	doc, faults := document.Parse(name, data)
	if len(faults) > 0 {
		return nil, faults.Err()
	}
	return build(doc)
}

func build(doc *document.File) (*Model, error) {
	l := &loader{doc: doc}
	l.faults = doc.Decode(&l.layout)
	f := &l.layout
	l.checkName("$.model", f.Model)
	m := &Model{Name: f.Model, Description: f.Description, File: doc.Name(), Roles: l.roles()}
	if f.Recognise.SysObjectID != "" {
		m.Recognise.SysObjectID = l.oid("$.recognise.sysObjectID", f.Recognise.SysObjectID)
	}
	m.Recognise.SysDescr = f.Recognise.SysDescr
	if doc.Has("$.supplies") && (f.Supplies < 1 || f.Supplies > 2) {
		l.fault("$.supplies", "write 1 or 2", "a unit has one or two supplies, not %d", f.Supplies)
	}
	if f.Timestamp != "" {
		l.stamp = l.oid("$.timestamp", f.Timestamp)
	}
	if f.MaxAge < 0 {
		l.fault("$.max_age", "write a positive duration, like 2m", "max_age is negative")
	}
	m.Points = l.points()
	m.Equipment = collector.Equipment{Model: f.Model, Supplies: f.Supplies, Limits: l.limits(), Optics: l.optics()}
	for i := range m.Points {
		m.Equipment.Points = append(m.Equipment.Points, m.Points[i].Point)
	}
	if err := l.faults.Err(); err != nil {
		return nil, err
	}
	return m, nil
}

var (
	nameForm   = regexp.MustCompile(`^[a-z0-9][a-z0-9_.-]{0,63}$`)
	objectForm = regexp.MustCompile(`^[0-2](\.(0|[1-9][0-9]{0,9}))+$`)
)

func (l *loader) checkName(path, name string) {
	if l.doc.Has(path) && !nameForm.MatchString(name) {
		l.fault(path, "use small letters, digits, dash, underscore and dot", "%q is not a name", name)
	}
}

func (l *loader) roles() []collector.Role {
	var roles []collector.Role
	for i, word := range l.layout.Roles {
		role := collector.Role(word)
		if role != collector.Outdoor && role != collector.Indoor {
			l.fault(fmt.Sprintf("$.roles[%d]", i), document.Nearest(word, []string{string(collector.Outdoor), string(collector.Indoor)}), "unknown role %q", word)
			continue
		}
		roles = append(roles, role)
	}
	return roles
}

// oid checks an object identifier and returns it without leading dot.
func (l *loader) oid(path, s string) string {
	s = strings.TrimPrefix(s, ".")
	ok := objectForm.MatchString(s) && strings.Count(s, ".") < 128 // SMIv2 allows 128 sub-identifiers
	for part := range strings.SplitSeq(s, ".") {
		_, err := strconv.ParseUint(part, 10, 32)
		ok = ok && err == nil
	}
	if !ok {
		l.fault(path, "write numbers with dots, like 1.3.6.1.2.1.1.3.0", "%q is not an object identifier", s)
	}
	return s
}

func (l *loader) points() []Point {
	var points []Point
	seen := map[collector.Point]bool{}
	supplies := 0
	for i := range l.layout.Points {
		at := fmt.Sprintf("$.points[%d]", i)
		p, ok := l.point(at, &l.layout.Points[i])
		if !ok {
			continue
		}
		if seen[p.Point] {
			l.fault(at, "give one of them another port", "point %s is described twice", p.Point)
		}
		seen[p.Point] = true
		if p.Point.Quantity == collector.SupplyState {
			supplies++
		}
		points = append(points, p)
	}
	if n := l.layout.Supplies; n > 0 && supplies > n {
		l.fault("$.supplies", "correct the number or the points", "%d supplies, but %d points of supply_state", n, supplies)
	}
	if len(l.layout.Points) == 0 && l.doc.Has("$.points") {
		l.fault("$.points", "add at least one", "no points")
	}
	return points
}

func (l *loader) limits() collector.Limits {
	f := l.layout.Limits
	for _, pair := range []struct {
		low, high *float64
		name      string
	}{
		{f.ReceivePowerMinDBm, f.ReceivePowerMaxDBm, "receive_power_min_dbm"},
		{f.TemperatureMinC, f.TemperatureMaxC, "temperature_min_c"},
		{f.SupplyMinV, f.SupplyMaxV, "supply_min_v"},
		{f.LNAOpenBelowMA, f.LNAShortAboveMA, "lna_open_below_ma"},
	} {
		if pair.low != nil && pair.high != nil && *pair.low >= *pair.high {
			l.fault("$.limits."+pair.name, "exchange them or correct one", "lower limit %g is not below the upper limit %g", *pair.low, *pair.high)
		}
	}
	if f.WarmUpMax < 0 || (f.WarmUpBelowC != nil && f.WarmUpMax == 0) {
		l.fault("$.limits.warm_up_max", "write how long a start in the cold may take, like 20m", "warm_up_below_c needs a positive warm_up_max")
	}
	return collector.Limits{
		ReceivePowerMinDBm: f.ReceivePowerMinDBm,
		ReceivePowerMaxDBm: f.ReceivePowerMaxDBm,
		BiasMaxMA:          f.BiasMaxMA,
		TemperatureMinC:    f.TemperatureMinC,
		TemperatureMaxC:    f.TemperatureMaxC,
		SupplyMinV:         f.SupplyMinV,
		SupplyMaxV:         f.SupplyMaxV,
		LNAOpenBelowMA:     f.LNAOpenBelowMA,
		LNAShortAboveMA:    f.LNAShortAboveMA,
		WarmUpBelowC:       f.WarmUpBelowC,
		WarmUpMax:          time.Duration(f.WarmUpMax),
	}
}

func quantityNames() []string {
	var names []string
	for _, q := range collector.Quantities() {
		names = append(names, string(q.Quantity))
	}
	return names
}

func keysOf[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}
