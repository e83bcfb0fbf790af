package remote

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
	"path/filepath"
	"sync"
)

// A spool is a queue of records in the files of a folder, named by numbers
// that only grow. Each record stands behind its length, its check sum and
// the number of readings in it. A cursor file says up to where records are
// done with; without a whole one, everything there is goes out again.
type spool struct {
	folder string
	most   int64 // bytes in all files
	seal   int64 // bytes after which a file is full

	mu     sync.Mutex
	first  uint64 // file of the cursor
	offset int64  // place in it
	last   uint64 // file that is written
	file   *os.File
	size   int64 // of it
	bytes  int64 // of all files
	cursor *os.File
	counts spoolCounts
}

// spoolCounts are counts of readings.
type spoolCounts struct{ Waiting, Dropped, Damaged uint64 }

const (
	headerSize = 12
	sealSize   = 4 << 20
	minBytes   = 4 * sealSize
	maxRecord  = 64 << 20
	cursorSize = 20
)

var table = crc32.MakeTable(crc32.Castagnoli)

// place is a position in a spool.
type place struct {
	file   uint64
	offset int64
}

// openSpool opens or makes a spool. A torn record at its end is cut off.
func openSpool(folder string, most, seal int64) (*spool, error) {
	s := &spool{folder: folder, most: most, seal: seal}
	if err := s.open(); err != nil {
		s.close()
		return nil, fmt.Errorf("open queue %s: %w", folder, err)
	}
	return s, nil
}

func (s *spool) open() (err error) {
	if err = os.MkdirAll(s.folder, 0o700); err != nil {
		return err
	}
	if s.cursor, err = os.OpenFile(filepath.Join(s.folder, "cursor"), os.O_CREATE|os.O_RDWR, 0o600); err != nil {
		return err
	}
	s.readCursor()
	names, err := filepath.Glob(filepath.Join(s.folder, "*.readings"))
	if err != nil {
		return err
	}
	var numbers []uint64
	for _, name := range names { // Glob sorts
		var n uint64
		if _, err := fmt.Sscanf(filepath.Base(name), "%016x.readings", &n); err != nil {
			continue
		}
		if n < s.first { // done with, but the kill came before it was removed
			if err := os.Remove(name); err != nil {
				return err
			}
			continue
		}
		numbers = append(numbers, n)
	}
	return s.adopt(numbers)
}

// adopt counts what waits in files and goes on writing the last.
func (s *spool) adopt(numbers []uint64) error {
	if len(numbers) == 0 {
		return s.begin(max(s.first, 1), true)
	}
	if numbers[0] > s.first {
		s.first, s.offset = numbers[0], 0
	}
	for _, n := range numbers {
		start := int64(0)
		if n == s.first {
			start = s.offset
		}
		records, end, err := s.walk(place{n, start})
		if err != nil {
			return err
		}
		s.counts.Waiting += records
		info, err := os.Stat(s.path(n))
		if err != nil {
			return err
		}
		s.bytes += info.Size()
		if n == numbers[len(numbers)-1] {
			s.bytes += end - info.Size()
			if err := os.Truncate(s.path(n), end); err != nil {
				return err
			}
		}
	}
	return s.begin(numbers[len(numbers)-1], false)
}

func (s *spool) path(n uint64) string {
	return filepath.Join(s.folder, fmt.Sprintf("%016x.readings", n))
}

// begin makes n the file that is written.
func (s *spool) begin(n uint64, fresh bool) error {
	f, err := os.OpenFile(s.path(n), os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return err
	}
	size, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return errors.Join(err, f.Close())
	}
	if s.file != nil {
		err = errors.Join(s.file.Sync(), s.file.Close())
	}
	s.file, s.last, s.size = f, n, size
	if fresh && s.first == 0 {
		s.first = n
	}
	return err
}

// walk counts the readings of whole records from a place on, and returns
// where they end.
func (s *spool) walk(from place) (readings uint64, end int64, err error) {
	end = from.offset
	for {
		_, n, next, err := s.record(place{from.file, end})
		if errors.Is(err, io.EOF) || errors.Is(err, errRecord) {
			return readings, end, nil
		}
		if err != nil {
			return readings, end, err
		}
		readings, end = readings+uint64(n), next
	}
}

// record reads the record at a place: io.EOF where the file ends, errRecord
// where it is damaged or torn.
func (s *spool) record(at place) (body []byte, readings uint32, next int64, err error) {
	f := s.file
	if at.file != s.last || f == nil {
		if f, err = os.Open(s.path(at.file)); err != nil {
			return nil, 0, 0, err
		}
		defer f.Close()
	}
	var head [headerSize]byte
	n, err := f.ReadAt(head[:], at.offset)
	switch {
	case n == 0 && errors.Is(err, io.EOF):
		return nil, 0, 0, io.EOF
	case errors.Is(err, io.EOF):
		return nil, 0, 0, errRecord
	case err != nil:
		return nil, 0, 0, err
	}
	length := binary.LittleEndian.Uint32(head[0:])
	if length > maxRecord {
		return nil, 0, 0, errRecord
	}
	body = make([]byte, length)
	if _, err = f.ReadAt(body, at.offset+headerSize); err != nil {
		if errors.Is(err, io.EOF) {
			err = errRecord
		}
		return nil, 0, 0, err
	}
	if check(head[8:], body) != binary.LittleEndian.Uint32(head[4:]) {
		return nil, 0, 0, errRecord
	}
	return body, binary.LittleEndian.Uint32(head[8:]), at.offset + headerSize + int64(length), nil
}

func check(count, body []byte) uint32 {
	return crc32.Update(crc32.Checksum(count, table), table, body)
}

// append puts a record at the end. After an error nothing of it is there.
func (s *spool) append(body []byte, readings int) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.size >= s.seal {
		if err := s.begin(s.last+1, false); err != nil {
			return fmt.Errorf("queue readings: %w", err)
		}
	}
	out := make([]byte, headerSize, headerSize+len(body))
	binary.LittleEndian.PutUint32(out[0:], uint32(len(body)))
	binary.LittleEndian.PutUint32(out[8:], uint32(readings))
	binary.LittleEndian.PutUint32(out[4:], check(out[8:12], body))
	if _, err := s.file.WriteAt(append(out, body...), s.size); err != nil {
		return errors.Join(fmt.Errorf("queue readings: %w", err), s.file.Truncate(s.size))
	}
	grown := int64(headerSize + len(body))
	s.size, s.bytes = s.size+grown, s.bytes+grown
	s.counts.Waiting += uint64(readings)
	for s.bytes > s.most && s.first < s.last {
		if err := s.dropFirst(&s.counts.Dropped); err != nil {
			return fmt.Errorf("queue readings: %w", err)
		}
	}
	return nil
}

// dropFirst removes the oldest file and adds what waited in it to lost.
func (s *spool) dropFirst(lost *uint64) error {
	readings, _, err := s.walk(place{s.first, s.offset})
	if err != nil {
		return err
	}
	*lost += readings
	s.counts.Waiting -= min(readings, s.counts.Waiting)
	return s.advance()
}
