package drift

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"math"
)

// ErrNotSeries: bytes that AppendBinary did not write, or that were damaged.
var ErrNotSeries = errors.New("not a stored drift series")

const (
	seriesVersion = 1
	// SeriesSize is how many bytes AppendBinary writes.
	SeriesSize = 1 + 4*len32 + 2*len16 + len8 + 1 + 4

	len32, len16, len8 = 24, 2, 14
)

// AppendBinary appends the state for keeping. The hour and the day under way
// are left out: a series that is read back has lost them, and begins the hour
// of its next reading as if it were new.
func (s *Series) AppendBinary(b []byte) ([]byte, error) {
	begin := len(b)
	b = append(b, seriesVersion)
	for _, f := range s.floats() {
		b = binary.LittleEndian.AppendUint32(b, math.Float32bits(*f))
	}
	for _, u := range [...]uint32{s.at, s.quiet, uint32(s.since)} {
		b = binary.LittleEndian.AppendUint32(b, u)
	}
	b = binary.LittleEndian.AppendUint16(b, s.usual)
	b = binary.LittleEndian.AppendUint16(b, s.age)
	for _, u := range s.bytes() {
		b = append(b, *u)
	}
	b = append(b, uint8(s.lean))
	return binary.LittleEndian.AppendUint32(b, crc32.ChecksumIEEE(b[begin:])), nil
}

// UnmarshalBinary reads what AppendBinary wrote. An error wraps ErrNotSeries
// and leaves the series as it was.
func (s *Series) UnmarshalBinary(b []byte) error {
	switch {
	case len(b) == 0 || b[0] != seriesVersion:
		return fmt.Errorf("read drift series: %w: unknown version", ErrNotSeries)
	case len(b) != SeriesSize:
		return fmt.Errorf("read drift series: %w: %d bytes, want %d", ErrNotSeries, len(b), SeriesSize)
	case binary.LittleEndian.Uint32(b[SeriesSize-4:]) != crc32.ChecksumIEEE(b[:SeriesSize-4]):
		return fmt.Errorf("read drift series: %w: wrong checksum", ErrNotSeries)
	}
	var n Series
	b = b[1:]
	word := func() uint32 { v := binary.LittleEndian.Uint32(b); b = b[4:]; return v }
	half := func() uint16 { v := binary.LittleEndian.Uint16(b); b = b[2:]; return v }
	for _, f := range n.floats() {
		*f = math.Float32frombits(word())
	}
	n.at, n.quiet, n.since = word(), word(), int32(word())
	n.usual, n.age = half(), half()
	for _, u := range n.bytes() {
		*u, b = b[0], b[1:]
	}
	n.lean = int8(b[0])
	if n.phase > Doubtful {
		return fmt.Errorf("read drift series: %w: phase %d", ErrNotSeries, n.phase)
	}
	*s = n
	return nil
}

func (s *Series) floats() [len32 - 3]*float32 {
	f := &s.f
	return [...]*float32{&s.origin, &s.last, &s.spread, &s.yesterday, &s.yesterhot, &s.down, &s.up,
		&s.tref, &s.steps, &s.before, &s.first,
		&f.level, &f.slope, &f.beta, &f.p00, &f.p01, &f.p02, &f.p11, &f.p12, &f.p22, &f.noise}
}

func (s *Series) bytes() [len8]*uint8 {
	return [...]*uint8{&s.stretch, &s.settling, &s.downFor, &s.upFor, (*uint8)(&s.phase), (*uint8)(&s.active),
		&s.calm, &s.peak, &s.climb, &s.deep.level, &s.high.level, &s.deep.today, &s.high.today, &s.mirrors}
}
