package remote

import (
	"time"

	"lightwell/collector"
)

// Spool is a spool with small files, for tests.
type Spool struct{ s *spool }

// OpenSpool opens one.
func OpenSpool(folder string, most, seal int64) (*Spool, error) {
	s, err := openSpool(folder, most, seal)
	return &Spool{s}, err
}

// Append appends a record of one reading.
func (s *Spool) Append(body string) error { return s.s.append([]byte(body), 1) }

// Next returns the oldest records, up to most, and what says that they are done.
func (s *Spool) Next(most int) ([]string, func() error, error) {
	records, n, behind, err := s.s.next(most)
	var out []string
	for _, r := range records {
		out = append(out, string(r))
	}
	return out, func() error { return s.s.done(behind, n) }, err
}

// Waiting, Dropped, Damaged and Bytes tell how it fares.
func (s *Spool) Waiting() int { c, _ := s.s.stats(); return int(c.Waiting) }

// Dropped counts readings above the bound.
func (s *Spool) Dropped() int { c, _ := s.s.stats(); return int(c.Dropped) }

// Damaged counts damaged places.
func (s *Spool) Damaged() int { c, _ := s.s.stats(); return int(c.Damaged) }

// Bytes is the size of all files.
func (s *Spool) Bytes() int64 { _, b := s.s.stats(); return b }

// Close closes it.
func (s *Spool) Close() error { return s.s.close() }

// Encode is appendPoll.
func Encode(b []byte, p collector.Poll) ([]byte, int) { return appendPoll(b, p) }

// Decode is decode, with the readings as readings.
func Decode(b []byte) ([]collector.Reading, error) {
	points, err := decode(b, nil)
	var out []collector.Reading
	for _, p := range points {
		out = append(out, collector.Reading{Unit: p.unit, Point: p.point, Value: p.value, Taken: msTime(p.time)})
	}
	return out, err
}

// OwnUnit is ownUnit.
var OwnUnit = ownUnit

func msTime(ms int64) time.Time { return time.UnixMilli(ms).UTC() }
