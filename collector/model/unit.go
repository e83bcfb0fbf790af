package model

import (
	"math"
	"slices"
	"strings"

	"lightwell/collector"
)

// linear maps x to x*factor*10^exp + add. The power of ten is kept apart
// because dividing by 100 is exact where multiplying by 0.01 is not.
type linear struct {
	factor float64
	exp    int
	add    float64
}

var identity = linear{factor: 1}

func (l linear) apply(x float64) float64 { return shift(x*l.factor, l.exp) + l.add }

func (l linear) invert(y float64) float64 { return shift(y-l.add, -l.exp) / l.factor }

// then returns the map that applies l first and m to its result.
func (l linear) then(m linear) linear {
	return linear{l.factor * m.factor, l.exp + m.exp, m.apply(l.add)}
}

func shift(x float64, exp int) float64 {
	switch {
	case exp > 0:
		return x * math.Pow10(exp)
	case exp < 0:
		return x / math.Pow10(-exp)
	default:
		return x
	}
}

// scaling returns the map for a scale and an offset in a model file.
func scaling(scale, offset float64) linear {
	if exp := math.Round(math.Log10(scale)); scale > 0 && scale == math.Pow10(int(exp)) {
		return linear{1, int(exp), offset}
	}
	return linear{scale, 0, offset}
}

// conversion brings a number in one unit to the quantity's own unit. With
// power set the linear map gives milliwatts, whose level in dBm is wanted.
type conversion struct {
	linear
	power bool
}

// convert returns the value in the quantity's own unit.
func (c conversion) convert(x float64, q *collector.QuantityInfo) Decoded {
	x = c.apply(x)
	if !c.power {
		return Decoded{Value: x}
	}
	if x < 0 {
		return outOfRange("negative power")
	}
	level := 10 * math.Log10(x) // -Inf for 0
	if level < q.Min {
		return dark(q)
	}
	return Decoded{Value: level}
}

// raw is the inverse of convert. A level that dark stands for is no power.
func (c conversion) raw(value float64, q *collector.QuantityInfo) float64 {
	switch {
	case c.power && value <= q.Min:
		value = 0
	case c.power:
		value = math.Pow(10, value/10)
	}
	return c.invert(value)
}

// dark returns the good reading that stands for no light or no signal.
func dark(q *collector.QuantityInfo) Decoded {
	if optical(q) {
		return Decoded{Value: q.Min, Note: NoLight}
	}
	return Decoded{Value: q.Min, Note: NoSignal}
}

func optical(q *collector.QuantityInfo) bool {
	return q.Quantity == collector.OpticalReceivePower || q.Quantity == collector.OpticalTransmitPower
}

// A spelling is a unit that may stand in a model file or behind a number. The
// first of a quantity's unit is the one that Encode writes.
type spelling struct {
	of, name string
	conversion
}

var spellings = []spelling{
	{"dBm", "dBm", conversion{identity, false}},
	{"dBm", "W", conversion{linear{1, 3, 0}, true}},
	{"dBm", "mW", conversion{identity, true}},
	{"dBm", "uW", conversion{linear{1, -3, 0}, true}},
	{"dBm", "nW", conversion{linear{1, -6, 0}, true}},
	{"mA", "mA", conversion{identity, false}},
	{"mA", "A", conversion{linear{1, 3, 0}, false}},
	{"mA", "uA", conversion{linear{1, -3, 0}, false}},
	{"°C", "C", conversion{identity, false}},
	{"°C", "°C", conversion{identity, false}},
	{"°C", "K", conversion{linear{1, 0, -273.15}, false}},
	{"°C", "F", conversion{linear{5. / 9, 0, -160. / 9}, false}},
	{"°C", "°F", conversion{linear{5. / 9, 0, -160. / 9}, false}},
	{"V", "V", conversion{identity, false}},
	{"V", "mV", conversion{linear{1, -3, 0}, false}},
	{"dB", "dB", conversion{identity, false}},
	{"dBm/Hz", "dBm/Hz", conversion{identity, false}},
	{"s", "s", conversion{identity, false}},
	{"s", "ms", conversion{linear{1, -3, 0}, false}},
	{"s", "min", conversion{linear{60, 0, 0}, false}},
	{"s", "h", conversion{linear{3600, 0, 0}, false}},
}

// unitOf finds how to bring a number in the named unit to the quantity's own.
// "" is the quantity's own unit; µ may be written as u; case counts, because
// mW and MW differ.
func unitOf(q *collector.QuantityInfo, name string) (conversion, bool) {
	if name == "" || name == q.Unit {
		return conversion{identity, false}, true
	}
	for i := range spellings {
		s := &spellings[i]
		if s.of == q.Unit && (s.name == name || micro(name) == s.name) {
			return s.conversion, true
		}
	}
	return conversion{}, false
}

// micro replaces a leading micro sign, of either code point, by u.
func micro(name string) string {
	for _, sign := range [...]string{"µ", "μ"} {
		if rest, ok := strings.CutPrefix(name, sign); ok {
			return "u" + rest
		}
	}
	return name
}

// unitNames lists the units that can be written for a quantity.
func unitNames(q *collector.QuantityInfo) []string {
	var names []string
	for _, s := range spellings {
		if s.of == q.Unit && !slices.Contains(names, s.name) {
			names = append(names, s.name)
		}
	}
	return names
}
