package model

import (
	"maps"
	"regexp"
	"slices"
	"time"

	"lightwell/collector"
	"lightwell/collector/document"
)

// pointLayout is one entry of points as it is written.
type pointLayout struct {
	Quantity    string             `yaml:"quantity,required"`
	Port        string             `yaml:"port"`
	Object      string             `yaml:"object"`
	Encoding    string             `yaml:"encoding"`
	Scale       *float64           `yaml:"scale"`
	Offset      float64            `yaml:"offset"`
	Unit        string             `yaml:"unit"`
	NoLight     *string            `yaml:"no_light"`
	Unavailable *string            `yaml:"unavailable"`
	Broken      *string            `yaml:"broken"`
	States      map[string]string  `yaml:"states"`
	Bits        map[int]string     `yaml:"bits"`
	Otherwise   string             `yaml:"otherwise"`
	Row         string             `yaml:"row"`
	FirstByte   int                `yaml:"first_byte"`
	Calibration string             `yaml:"calibration"`
	Timestamp   string             `yaml:"timestamp"`
	MaxAge      *document.Duration `yaml:"max_age"`
}

// Encodings by name.
const (
	encInteger = "integer"
	encFloat   = "float"
	encText    = "text"
	encBits    = "bits"
	encSFF     = "sff8472"
	encSensor  = "entity_sensor"
)

var encodings = []string{encInteger, encFloat, encText, encBits, encSFF, encSensor}

// meant lists the keys that mean something to some encodings only.
var meant = map[string][]string{
	"object":      {encInteger, encFloat, encText, encBits, encSFF},
	"scale":       {encInteger, encFloat, encText},
	"offset":      {encInteger, encFloat, encText},
	"unit":        {encInteger, encFloat, encText, encSensor},
	"no_light":    {encInteger, encFloat, encText},
	"unavailable": {encInteger, encFloat, encText},
	"broken":      {encInteger, encFloat, encText},
	"states":      {encInteger, encText, encSensor},
	"bits":        {encBits},
	"otherwise":   {encBits},
	"row":         {encSensor},
	"first_byte":  {encSFF},
	"calibration": {encSFF},
	"timestamp":   {encInteger, encFloat, encText, encBits, encSFF},
}

// pointLoader builds one point.
type pointLoader struct {
	*loader
	at   string // path of the entry
	info collector.QuantityInfo
	*pointLayout
}

func (l *loader) point(at string, f *pointLayout) (Point, bool) {
	info, ok := collector.Quantity(f.Quantity).Info()
	if !ok {
		if f.Quantity != "" {
			l.fault(at+".quantity", document.Nearest(f.Quantity, quantityNames()), "unknown quantity %q", f.Quantity)
		}
		return Point{}, false
	}
	b := &pointLoader{loader: l, at: at, info: info, pointLayout: f}
	before := len(l.faults)
	if f.Port != "" {
		l.checkName(at+".port", f.Port)
	}
	b.defaults()
	b.checkKeys()
	p := Point{Point: collector.Point{Quantity: info.Quantity, Port: f.Port}, info: &info}
	p.codec, p.objects = b.codec()
	b.age(&p)
	return p, len(l.faults) == before && p.codec != nil
}

func (b *pointLoader) defaults() {
	if b.Encoding != "" {
		return
	}
	switch b.Encoding = encInteger; {
	case b.Bits != nil:
		b.Encoding = encBits
	case b.Row != "":
		b.Encoding = encSensor
	}
}

func (b *pointLoader) checkKeys() {
	for _, key := range slices.Sorted(maps.Keys(meant)) {
		if b.doc.Has(b.at+"."+key) && slices.Contains(encodings, b.Encoding) && !slices.Contains(meant[key], b.Encoding) {
			b.fault(b.at+"."+key, "remove it or correct the encoding", "point %s: %s has no meaning with encoding %s", b.Quantity, key, b.Encoding)
		}
	}
	states := b.info.States != nil
	if states && b.States == nil && (b.Encoding == encInteger || b.Encoding == encText || b.Encoding == encSensor) {
		b.fault(b.at, "add states: {1: good, 2: failed}, raw value first", "point %s: states are missing", b.Quantity)
	}
	if !states && (b.States != nil || b.Bits != nil) {
		b.fault(b.at, "use a scale instead", "point %s: %s is a number and has no states", b.Quantity, b.info.Title)
	}
}

// age fills what tells how old a value is; the point's own keys come before
// those of the model. A sensor's row has a time stamp of its own.
func (b *pointLoader) age(p *Point) {
	switch {
	case b.Encoding == encSensor:
		p.objects, p.stamped = append(p.objects, sensorObject(sensorTimeStamp, b.Row)), true
	case b.Timestamp != "":
		p.objects, p.stamped = append(p.objects, b.oid(b.at+".timestamp", b.Timestamp)), true
	case b.layout.Timestamp != "" && p.Point.Quantity != collector.Uptime:
		p.objects, p.stamped = append(p.objects, b.stamp), true
	}
	maxAge := b.layout.MaxAge
	if b.MaxAge != nil {
		maxAge = *b.MaxAge
	}
	if b.MaxAge != nil && *b.MaxAge < 0 {
		b.fault(b.at+".max_age", "write a positive duration, like 2m", "point %s: max_age is negative", b.Quantity)
	}
	if b.MaxAge != nil && *b.MaxAge > 0 && !p.stamped {
		b.fault(b.at+".max_age", "add timestamp, the object that holds the sysUpTime of the value", "point %s: max_age needs a time stamp", b.Quantity)
	}
	if p.stamped {
		p.MaxAge = time.Duration(maxAge)
	}
}

var rowForm = regexp.MustCompile(`^[1-9][0-9]{0,9}$`)

func (b *pointLoader) codec() (codec, []string) {
	if b.Encoding == encSensor {
		if !rowForm.MatchString(b.Row) {
			b.fault(b.at+".row", "write the row's entPhysicalIndex, like row: 1001", "point %s: %q is not a row", b.Quantity, b.Row)
			return nil, nil
		}
		return b.sensor(), sensorObjects(b.Row)
	}
	if !slices.Contains(encodings, b.Encoding) {
		b.fault(b.at+".encoding", document.Nearest(b.Encoding, encodings), "point %s: unknown encoding %q", b.Quantity, b.Encoding)
		return nil, nil
	}
	if b.Object == "" {
		b.fault(b.at, "add it", "point %s: key \"object\" is missing", b.Quantity)
		return nil, nil
	}
	objects := append(make([]string, 0, 2), b.oid(b.at+".object", b.Object))
	switch {
	case b.Encoding == encSFF:
		return b.sff(), objects
	case b.Encoding == encBits:
		return b.bits(), objects
	case b.States != nil:
		return b.states(), objects
	default:
		return b.number(), objects
	}
}

func (b *pointLoader) unit() conversion {
	unit, ok := unitOf(&b.info, b.Unit)
	if !ok {
		b.fault(b.at+".unit", document.Nearest(b.Unit, unitNames(&b.info)), "point %s: unit %q does not fit %s", b.Quantity, b.Unit, b.info.Title)
	}
	return unit
}

func (b *pointLoader) number() codec {
	if b.info.States != nil {
		return nil // states are missing: already a fault
	}
	c := &numberCodec{form: b.form(), unit: b.unit(), unitName: b.Unit, scale: identity}
	if c.unitName == "" {
		c.unitName = b.info.Unit
	}
	scale := 1.
	if b.Scale != nil {
		scale = *b.Scale
	}
	if scale == 0 {
		b.fault(b.at+".scale", "write what one step of the raw value is worth, like 0.01", "point %s: scale is zero", b.Quantity)
		return nil
	}
	c.scale = scaling(scale, b.Offset)
	c.whole = conversion{c.scale.then(c.unit.linear), c.unit.power}
	c.noLight, c.unavailable, c.broken = b.literal("no_light", b.NoLight), b.literal("unavailable", b.Unavailable), b.literal("broken", b.Broken)
	if c.noLight != nil && !optical(&b.info) {
		b.fault(b.at+".no_light", "remove it", "point %s: no_light fits optical power only", b.Quantity)
	}
	return c
}

func (b *pointLoader) form() form {
	switch b.Encoding {
	case encFloat:
		return asFloat
	case encText:
		return asText
	default:
		return asInteger
	}
}

// literal returns a raw value with a meaning of its own, nil when not given.
func (b *pointLoader) literal(key string, s *string) *literal {
	if s == nil {
		return nil
	}
	l := parseLiteral(*s)
	if !l.numeric && b.Encoding != encText {
		b.fault(b.at+"."+key, "write the raw number", "point %s: %s is not a number", b.Quantity, key)
	}
	return &l
}

// outcome reads the word for a state of the quantity, or for a quality that
// the unit itself reports.
func (b *pointLoader) outcome(path, word string) (outcome, bool) {
	if b.info.States == nil {
		return outcome{}, false // a number: already a fault
	}
	switch word {
	case collector.Unavailable.String():
		return outcome{quality: collector.Unavailable}, true
	case collector.Broken.String():
		return outcome{quality: collector.Broken}, true
	}
	if v, ok := b.info.Quantity.StateValue(word); ok {
		return outcome{value: v}, true
	}
	known := append(slices.Clone(b.info.States), collector.Unavailable.String(), collector.Broken.String())
	b.fault(path, document.Nearest(word, known), "point %s: unknown state %q", b.Quantity, word)
	return outcome{}, false
}

func (b *pointLoader) states() codec {
	var table []stateRow
	for _, raw := range keysOf(b.States) {
		path := b.at + ".states." + raw
		row := stateRow{raw: parseLiteral(raw)}
		if !row.raw.numeric && b.Encoding == encInteger {
			b.fault(path, "write numbers, or encoding: text", "point %s: raw state %q is not a number", b.Quantity, raw)
		}
		row.outcome, _ = b.outcome(path, b.States[raw])
		table = append(table, row)
	}
	return newStateCodec(b.form(), table)
}

func (b *pointLoader) bits() codec {
	c := &bitCodec{}
	for _, bit := range slices.Sorted(maps.Keys(b.Bits)) {
		if bit < 0 || bit > 1023 {
			b.fault(b.at+".bits", "count from 0, the high-order bit of the first octet", "point %s: there is no bit %d", b.Quantity, bit)
		}
		o, _ := b.outcome(b.at+".bits", b.Bits[bit])
		c.bits = append(c.bits, bitRow{max(0, bit), o})
	}
	if len(c.bits) == 0 {
		b.fault(b.at, "add bits: {0: failed}", "point %s: bits are missing", b.Quantity)
		return nil
	}
	if b.Otherwise == "" {
		b.fault(b.at, "add otherwise: and the state that no set bit means", "point %s: key \"otherwise\" is missing", b.Quantity)
		return nil
	}
	c.otherwise, _ = b.outcome(b.at+".otherwise", b.Otherwise)
	return c
}

func (b *pointLoader) sff() codec {
	field, ok := sffFields[b.info.Quantity]
	if !ok {
		b.fault(b.at+".encoding", "use another encoding", "point %s: SFF-8472 has no such value", b.Quantity)
		return nil
	}
	c := &sffCodec{first: b.FirstByte, field: field}
	if c.first < 0 || c.first > field.at {
		b.fault(b.at+".first_byte", "write the number of the page's octet that the object begins with; 0 for a whole page", "point %s: octet %d of the page is not in the object", b.Quantity, field.at)
		return nil
	}
	switch b.Calibration {
	case "", "internal":
	case "external":
		if c.external = field.states == nil; c.external && c.first > field.cal {
			b.fault(b.at+".calibration", "read the whole page", "point %s: external calibration needs octets 56 to 91", b.Quantity)
			return nil
		}
	default:
		b.fault(b.at+".calibration", document.Nearest(b.Calibration, []string{"internal", "external"}), "point %s: unknown calibration %q", b.Quantity, b.Calibration)
	}
	return c
}

func (b *pointLoader) sensor() codec {
	c := &sensorCodec{typ: typeOther, scale: sensorUnits}
	if b.info.States != nil {
		c.isTruth, c.typ = true, typeTruth
		for i, raw := range []string{"true", "false"} {
			word, ok := b.States[raw]
			if !ok || len(b.States) != 2 {
				b.fault(b.at+".states", "write states: {true: good, false: failed}", "point %s: a truth value has the states true and false", b.Quantity)
				return nil
			}
			c.truth[i], _ = b.outcome(b.at+".states."+raw, word)
		}
		return c
	}
	c.other, c.types = b.unit(), map[int64]conversion{}
	for typ, name := range sensorUnit {
		if unit, ok := unitOf(&b.info, name); ok {
			c.types[typ] = unit
		}
	}
	unit := micro(b.Unit)
	if unit == "" {
		unit = b.info.Unit
	}
	if typ, scale := sensorForm(unit); c.types[typ] != (conversion{}) {
		c.typ, c.scale = typ, scale
	}
	c.choosePrecision(&b.info)
	return c
}

// sensorForm returns the sensor type and scale code that suit a unit; three
// decimal places are then fine enough.
func sensorForm(unit string) (typ, scale int64) {
	switch unit {
	case "V":
		return 4, sensorUnits
	case "mV":
		return 4, sensorUnits - 1
	case "A", "mA":
		return 5, sensorUnits - 1
	case "uA":
		return 5, sensorUnits - 2
	case "W", "mW", "uW":
		return 6, sensorUnits - 2
	case "nW":
		return 6, sensorUnits - 3
	case "C", "°C":
		return 8, sensorUnits
	default:
		return typeOther, sensorUnits
	}
}
