package drift

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// laserFormat is the version of what AppendBinary writes.
const laserFormat = 2

// ErrLaserState is wrapped by the errors of Laser.UnmarshalBinary.
var ErrLaserState = errors.New("not the state of a laser")

// AppendBinary appends the state: some 100 bytes and four for each three
// degrees that the laser was met at. The hour under way is left out: after a
// restart it begins anew.
func (l *Laser) AppendBinary(b []byte) ([]byte, error) {
	m, a := &l.model, &l.ageing
	b = append(b, laserFormat)
	b = binary.LittleEndian.AppendUint32(b, l.at)
	today := l.hour / dayHours
	var quiet, since int64 // from at on; days, today being 1
	if l.quiet > l.at {
		quiet = int64(l.quiet) - int64(l.at)
	}
	if a.since != 0 {
		since = int64(today-a.since) + 1
	}
	for _, n := range [...]int64{quiet, int64(l.every), int64(l.taught), int64(today - a.began), int64(today - a.judged), since, int64(a.missed), int64(m.used)} {
		b = binary.AppendVarint(b, n)
	}
	b = appendBytes(b, l.counts()...)
	b = appendFloats(b, l.floats()...)
	b = a.line.append(b)
	return m.append(b), nil
}

func (l *Laser) counts() []*uint8 {
	a := &l.ageing
	return []*uint8{(*uint8)(&l.phase), &l.hours, &l.beyond, &l.learned, &a.grade, &a.up, &a.down}
}

func (l *Laser) floats() []*float32 {
	m, a := &l.model, &l.ageing
	return []*float32{&l.last, &l.excess, &m.base, &m.threshold, &m.char, &m.power, &m.left, &a.newest, &a.level, &a.sure, &a.noise}
}

// sums of the line: more exact, for differences of them count.
func (f *fading) sums() [9]*float64 {
	return [...]*float64{&f.w, &f.t, &f.tt, &f.y, &f.ty, &f.yy, &f.before, &f.alike, &f.square}
}

func (f *fading) append(b []byte) []byte {
	for _, sum := range f.sums() {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(float32(*sum)))
	}
	return b
}

// append writes the bins that were taught: hours, temperature in the bin, and
// bias as a share of the largest.
func (m *laserModel) append(b []byte) []byte {
	var set int64
	var most float32
	for i, n := range m.hours {
		if n > 0 {
			set |= 1 << i
			most = max(most, m.bias[i])
		}
	}
	b = appendFloats(binary.AppendVarint(b, set), &most)
	for i, n := range m.hours {
		if n == 0 {
			continue
		}
		within := (m.temp[i] - m.edge(i)) / binC
		b = append(b, uint8(min(n, lessonCap)), uint8(share(within, math.MaxUint8)))
		b = binary.LittleEndian.AppendUint16(b, uint16(share(m.bias[i]/most, math.MaxUint16)))
	}
	return b
}

// share returns a share in parts of one.
func share(of float32, parts float64) int {
	return int(math.Round(max(0, min(float64(of), 1)) * parts))
}

// edge is the temperature that a bin begins at, by the base as it is stored.
func (m *laserModel) edge(bin int) float32 { return rounded(m.base) + float32(bin-bins/2)*binC }

// UnmarshalBinary takes over a state that AppendBinary wrote. An error wraps
// ErrLaserState and leaves the laser as it was.
func (l *Laser) UnmarshalBinary(data []byte) error {
	if len(data) == 0 || data[0] != laserFormat {
		return fmt.Errorf("%w: unknown version, %d bytes", ErrLaserState, len(data))
	}
	var n Laser
	u := unpacker{rest: data[1:]}
	used := n.unpack(&u)
	if u.bad || len(u.rest) > 0 {
		return fmt.Errorf("%w: %d bytes", ErrLaserState, len(data))
	}
	if err := n.check(used); err != nil {
		return err
	}
	if used != 0 {
		n.model.use(used)
	}
	if again, _ := n.AppendBinary(make([]byte, 0, len(data))); !bytes.Equal(again, data) {
		return fmt.Errorf("%w: not as it would be written", ErrLaserState)
	}
	*l = n
	return nil
}

func (l *Laser) unpack(u *unpacker) (used uint32) {
	a := &l.ageing
	l.at = u.word()
	l.hour = int32(l.at / hourSeconds)
	today := int64(l.hour / dayHours)
	l.quiet = uint32(int64(l.at) + u.number())
	l.every, l.taught = uint32(u.number()), uint16(u.number())
	a.began, a.judged = int32(today-u.number()), int32(today-u.number())
	if since := u.number(); since != 0 {
		a.since = int32(today + 1 - since)
	}
	a.missed, used = uint16(u.number()), uint32(u.number())
	u.bytes(l.counts()...)
	u.floats(l.floats()...)
	for _, sum := range a.line.sums() {
		*sum = float64(math.Float32frombits(u.word()))
	}
	l.model.unpack(u)
	return used
}

func (m *laserModel) unpack(u *unpacker) {
	set := uint64(u.number())
	u.bad = u.bad || set>>bins != 0
	var most float32
	u.floats(&most)
	for i := range bins {
		if set>>i&1 == 0 || u.bad {
			continue
		}
		b := u.take(2)
		m.hours[i] = uint16(b[0])
		m.temp[i] = m.edge(i) + binC*float32(b[1])/math.MaxUint8
		m.bias[i] = float32(float64(most) * float64(u.half()) / math.MaxUint16)
	}
}

// check refuses what no laser can be: numbers that are none would stay for
// ever.
func (l *Laser) check(used uint32) error {
	var numbers []float64
	for _, f := range l.floats() {
		numbers = append(numbers, float64(*f))
	}
	for _, sum := range l.ageing.line.sums() {
		numbers = append(numbers, *sum)
	}
	for i := range bins {
		numbers = append(numbers, float64(l.model.bias[i]), float64(l.model.temp[i]))
	}
	for _, v := range numbers {
		if math.IsNaN(v) || math.Abs(v) > 1e12 {
			return fmt.Errorf("%w: a number is %v", ErrLaserState, v)
		}
	}
	known := l.phase == LaserKnown
	switch {
	case l.phase > LaserKnown, l.ageing.grade > 3, used>>bins != 0, known && (used == 0 || l.model.char < 1 || l.ageing.sure < 0 || l.ageing.noise <= 0), l.phase > 0 && l.last <= 0:
		return fmt.Errorf("%w: phase %d, grade %d", ErrLaserState, l.phase, l.ageing.grade)
	}
	return nil
}
