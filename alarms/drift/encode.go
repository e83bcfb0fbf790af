package drift

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
)

// ErrNotSeries: bytes that AppendBinary did not write, or that were damaged.
var ErrNotSeries = errors.New("not a stored drift series")

const (
	seriesVersion = 2
	// SeriesSize is how many bytes AppendBinary writes at most; of a sound
	// point it is about 80.
	SeriesSize = 1 + (floats+7)/8 + 3*floats + 4 + 5 + 5 + 3 + 3 + 2 + (counts+7)/8 + counts + 2

	floats, counts = 21, 14
)

// AppendBinary appends the state for keeping. The hour and the day under way
// are left out: a series that is read back has lost them, and begins the hour
// of its next reading as if it were new.
func (s *Series) AppendBinary(b []byte) ([]byte, error) {
	begin := len(b)
	b = append(b, seriesVersion)
	b = appendFloats(b, s.floats()...)
	b = binary.LittleEndian.AppendUint32(b, s.at)
	var quiet, since int64 // from at on; hours before that of at
	if s.quiet > s.at {
		quiet = int64(s.quiet) - int64(s.at)
	}
	if s.active&Faults != 0 {
		since = int64(s.hour()) - int64(s.since)
	}
	for _, n := range [...]int64{quiet, since, int64(s.usual), int64(s.age), int64(s.lean)} {
		b = binary.AppendVarint(b, n)
	}
	b = appendBytes(b, s.bytes()...)
	return binary.LittleEndian.AppendUint16(b, sum16(b[begin:])), nil
}

func sum16(b []byte) uint16 { return uint16(crc32.ChecksumIEEE(b)) }

// UnmarshalBinary reads what AppendBinary wrote. An error wraps ErrNotSeries
// and leaves the series as it was.
func (s *Series) UnmarshalBinary(b []byte) error {
	switch end := len(b) - 2; {
	case len(b) == 0 || b[0] != seriesVersion:
		return fmt.Errorf("read drift series: %w: unknown version", ErrNotSeries)
	case len(b) < 3 || binary.LittleEndian.Uint16(b[end:]) != sum16(b[:end]):
		return fmt.Errorf("read drift series: %w: wrong checksum", ErrNotSeries)
	}
	var n Series
	u := unpacker{rest: b[1 : len(b)-2]}
	u.floats(n.floats()...)
	n.at = u.word()
	n.quiet = uint32(int64(n.at) + u.number())
	since := u.number()
	n.usual, n.age, n.lean = uint16(u.number()), uint16(u.number()), int8(u.number())
	u.bytes(n.bytes()...)
	if n.active&Faults != 0 {
		n.since = int32(int64(n.hour()) - since)
	}
	again, _ := n.AppendBinary(make([]byte, 0, SeriesSize))
	if u.bad || n.phase > Doubtful || !bytes.Equal(again, b) {
		return fmt.Errorf("read drift series: %w: %d bytes, phase %d", ErrNotSeries, len(b), n.phase)
	}
	*s = n
	return nil
}

func (s *Series) floats() []*float32 {
	f := &s.f
	return []*float32{&s.origin, &s.last, &s.spread, &s.yesterday, &s.yesterhot, &s.down, &s.up,
		&s.tref, &s.steps, &s.before, &s.first,
		&f.level, &f.slope, &f.beta, &f.p00, &f.p01, &f.p02, &f.p11, &f.p12, &f.p22, &f.noise}
}

func (s *Series) bytes() []*uint8 {
	return []*uint8{&s.stretch, &s.settling, &s.downFor, &s.upFor, (*uint8)(&s.phase), (*uint8)(&s.active),
		&s.calm, &s.peak, &s.climb, &s.deep.level, &s.high.level, &s.deep.today, &s.high.today, &s.mirrors}
}
