package model

import (
	"math"
	"strconv"

	"lightwell/collector"
)

// sensorTable is entPhySensorEntry of the ENTITY-SENSOR-MIB (RFC 3433).
const sensorTable = "1.3.6.1.2.1.99.1.1.1"

// sensorColumns are the columns that a row needs, in the order of Objects.
var sensorColumns = [...]int{4, 1, 2, 3, 5}

// sensorTimeStamp is the column of the sysUpTime at which the value was taken.
const sensorTimeStamp = 7

// Places of the columns among the values.
const (
	colValue = iota
	colType
	colScale
	colPrecision
	colStatus
	sensorWidth
)

func sensorObjects(row string) []string {
	objects := make([]string, 0, sensorWidth+1)
	for _, column := range sensorColumns {
		objects = append(objects, sensorObject(column, row))
	}
	return objects
}

func sensorObject(column int, row string) string {
	return sensorTable + "." + strconv.Itoa(column) + "." + row
}

// Values of EntitySensorStatus, of EntitySensorDataType and of the range of
// EntitySensorValue.
const (
	statusOK            = 1
	statusUnavailable   = 2
	statusBroken        = 3
	typeOther           = 1
	typeTruth           = 12
	sensorOverflow      = 1000000000
	sensorUnits         = 9 // code of scale 10^0; neighbours are three decades apart
	sensorMaxPrecision  = 9
	sensorMinPrecision  = -8
	sensorHighestFactor = 17
	sensorDecimals      = 3 // that Encode writes
)

// sensorUnit gives the unit of each type of sensor that has one here.
var sensorUnit = map[int64]string{3: "V", 4: "V", 5: "A", 6: "W", 8: "C"}

// sensorCodec decodes a row of the ENTITY-SENSOR-MIB. There is no type for
// decibels: such a sensor is other(1) and its unit stands in the model.
type sensorCodec struct {
	other     conversion           // of a sensor of type other
	types     map[int64]conversion // for the quantity
	typ       int64                // what Encode writes
	scale     int64
	precision int
	truth     [2]outcome // of a truth value: true, false
	isTruth   bool
}

func (c *sensorCodec) decode(q *collector.QuantityInfo, v []Value) Decoded {
	value, ok0 := whole(v[colValue])
	typ, ok1 := whole(v[colType])
	scale, ok2 := whole(v[colScale])
	precision, ok3 := whole(v[colPrecision])
	status, ok4 := whole(v[colStatus])
	switch {
	case !(ok0 && ok1 && ok2 && ok3 && ok4):
		return unavailable("the sensor's row is incomplete")
	case status == statusUnavailable:
		return unavailable("the unit cannot get the value now")
	case status == statusBroken:
		return broken("the unit says that its sensor is broken")
	case status != statusOK:
		return outOfRange("sensor status " + v[colStatus].String())
	}
	return c.value(q, value, typ, scale, precision)
}

func (c *sensorCodec) value(q *collector.QuantityInfo, value, typ, scale, precision int64) Decoded {
	if c.isTruth {
		if typ != typeTruth || value < 1 || value > 2 {
			return outOfRange("not a truth value")
		}
		return c.truth[value-1].decoded()
	}
	unit, ok := c.types[typ]
	switch {
	case typ == typeOther:
		unit = c.other
	case !ok:
		return outOfRange("sensor type " + strconv.FormatInt(typ, 10) + " does not fit " + q.Title)
	}
	switch {
	case scale < 1 || scale > sensorHighestFactor || precision < sensorMinPrecision || precision > sensorMaxPrecision:
		return outOfRange("scale or precision is not one of RFC 3433")
	case value >= sensorOverflow:
		return outOfRange("the sensor is above its range")
	case value <= -sensorOverflow:
		return outOfRange("the sensor is below its range")
	}
	exponent := 3*(int(scale)-sensorUnits) - max(0, int(precision))
	return conversion{linear{1, exponent, 0}.then(unit.linear), unit.power}.convert(float64(value), q)
}

// whole returns an integer of either kind.
func whole(v Value) (int64, bool) {
	switch v.Kind {
	case Integer:
		return v.Int, true
	case Unsigned:
		return int64(min(v.Uint, math.MaxInt64)), true
	default:
		return 0, false
	}
}

func (c *sensorCodec) encode(q *collector.QuantityInfo, value float64, quality collector.Quality) []Value {
	row := make([]Value, sensorWidth, sensorWidth+1)
	status, raw := statusOK, int64(0)
	switch {
	case quality == collector.Unavailable:
		status = statusUnavailable
	case quality == collector.Broken:
		status = statusBroken
	case c.isTruth:
		for i, o := range c.truth {
			if o.is(value, quality) {
				raw = int64(i + 1)
			}
		}
	default:
		raw = fixedPoint(c.fixed(q, value, c.precision))
	}
	for i, x := range [...]int64{raw, c.typ, c.scale, int64(c.precision), int64(status)} {
		row[i] = Value{Kind: Integer, Int: x}
	}
	return row
}

// fixed returns what Encode writes for a value, before rounding.
func (c *sensorCodec) fixed(q *collector.QuantityInfo, value float64, precision int) float64 {
	unit := c.other
	if c.typ != typeOther {
		unit = c.types[c.typ]
	}
	return shift(unit.raw(value, q), 3*(sensorUnits-int(c.scale))+precision)
}

// choosePrecision takes as many decimal places, up to sensorDecimals, as the
// plausible range leaves room for. It does not change in operation.
func (c *sensorCodec) choosePrecision(q *collector.QuantityInfo) {
	for c.precision = sensorDecimals; c.precision > 0; c.precision-- {
		if max(math.Abs(c.fixed(q, q.Min, c.precision)), math.Abs(c.fixed(q, q.Max, c.precision))) < sensorOverflow {
			return
		}
	}
}

// fixedPoint rounds x to a value of a sensor, or to the one that says over- or
// underflow.
func fixedPoint(x float64) int64 {
	switch x = math.Round(x); {
	case !(x < sensorOverflow): // NaN too
		return sensorOverflow
	case x <= -sensorOverflow:
		return -sensorOverflow
	default:
		return int64(x)
	}
}
