package remote

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"

	"lightwell/collector"
)

// point is one reading as it is queued and sent.
type point struct {
	unit  string
	point collector.Point
	time  int64 // Unix ms
	value float64
}

// errRecord: a record does not hold what encode writes.
var errRecord = errors.New("the record is damaged")

// recordVersion begins every record.
const recordVersion = 1

// appendPoll encodes the good readings of a poll behind b: version, unit,
// number of readings, then point, time and value of each. n counts them.
func appendPoll(b []byte, p collector.Poll) (out []byte, n int) {
	good := 0
	for i := range p.Readings {
		if p.Readings[i].Quality == collector.Good {
			good++
		}
	}
	if good == 0 {
		return b, 0
	}
	b = append(b, recordVersion)
	b = appendString(b, p.Unit)
	b = binary.AppendUvarint(b, uint64(good))
	last := int64(0)
	for i := range p.Readings {
		r := &p.Readings[i]
		if r.Quality != collector.Good {
			continue
		}
		b = appendString(b, r.Point.String())
		at := r.Taken.UnixMilli()
		b = binary.AppendVarint(b, at-last)
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(r.Value))
		last = at
	}
	return b, good
}

func appendString(b []byte, s string) []byte {
	return append(binary.AppendUvarint(b, uint64(len(s))), s...)
}

// decode reads all polls that appendPoll put behind one another.
func decode(b []byte, into []point) ([]point, error) {
	d := decoder{rest: b}
	for len(d.rest) > 0 && d.err == nil {
		if version := d.bytes(1); d.err == nil && version[0] != recordVersion {
			return into, fmt.Errorf("%w: version %d", errRecord, version[0])
		}
		unit := string(d.bytes(d.uvarint()))
		last := int64(0)
		for n := d.uvarint(); n > 0 && d.err == nil; n-- {
			name := string(d.bytes(d.uvarint()))
			last += d.varint()
			bits := d.bytes(8)
			if d.err != nil {
				break
			}
			p, err := collector.ParsePoint(name)
			if err != nil {
				continue // a quantity of another version of the program
			}
			into = append(into, point{unit, p, last, math.Float64frombits(binary.LittleEndian.Uint64(bits))})
		}
	}
	return into, d.err
}

// decoder takes parts off a record until one is missing.
type decoder struct {
	rest []byte
	err  error
}

func (d *decoder) bytes(n uint64) []byte {
	if d.err != nil || n > uint64(len(d.rest)) {
		d.err = errRecord
		return nil
	}
	out := d.rest[:n]
	d.rest = d.rest[n:]
	return out
}

func (d *decoder) uvarint() uint64 {
	v, n := binary.Uvarint(d.rest)
	if n <= 0 {
		d.err = errRecord
		return 0
	}
	d.rest = d.rest[n:]
	return v
}

func (d *decoder) varint() int64 {
	v, n := binary.Varint(d.rest)
	if n <= 0 {
		d.err = errRecord
		return 0
	}
	d.rest = d.rest[n:]
	return v
}
