package remote

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"os"
)

// next returns the oldest records that are not done with, of some most
// readings together, and the place behind them. Nothing waits when it returns
// no record.
func (s *spool) next(most int) (records [][]byte, readings int, behind place, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	behind = place{s.first, s.offset}
	for readings < most {
		body, n, end, err := s.record(behind)
		switch {
		case err == nil:
			records, readings = append(records, body), readings+int(n)
			behind.offset = end
		case errors.Is(err, errRecord) && behind == (place{s.first, s.offset}):
			if err := s.skipDamage(); err != nil {
				return nil, 0, behind, err
			}
			behind = place{s.first, s.offset}
		case errors.Is(err, errRecord):
			return records, readings, behind, nil // those before it first
		case errors.Is(err, io.EOF) && behind.file < s.last:
			behind = place{behind.file + 1, 0}
		case errors.Is(err, io.EOF):
			return records, readings, behind, nil
		default:
			return nil, 0, behind, fmt.Errorf("read queue: %w", err)
		}
	}
	return records, readings, behind, nil
}

// skipDamage goes on behind a damaged record: in the next file, because where
// the next record begins is not known.
func (s *spool) skipDamage() error {
	s.counts.Damaged++
	if s.first < s.last {
		return s.advance()
	}
	if err := s.begin(s.last+1, false); err != nil {
		return err
	}
	return s.advance()
}

// done says that everything before a place from next is done with.
func (s *spool) done(behind place, readings int) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	for s.first < behind.file {
		if err := s.advance(); err != nil {
			return err
		}
	}
	if s.first == behind.file { // else the bound by size has taken more
		s.offset = max(s.offset, behind.offset)
		s.counts.Waiting -= min(uint64(readings), s.counts.Waiting)
	}
	return s.writeCursor()
}

// advance moves the cursor to the next file and removes the one before.
func (s *spool) advance() error {
	old := s.first
	if info, err := os.Stat(s.path(old)); err == nil {
		s.bytes -= info.Size()
	}
	s.first, s.offset = old+1, 0
	if err := s.writeCursor(); err != nil {
		return err
	}
	if err := os.Remove(s.path(old)); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}

func (s *spool) writeCursor() error {
	var b [cursorSize]byte
	binary.LittleEndian.PutUint64(b[0:], s.first)
	binary.LittleEndian.PutUint64(b[8:], uint64(s.offset))
	binary.LittleEndian.PutUint32(b[16:], crc32.Checksum(b[:16], table))
	if _, err := s.cursor.WriteAt(b[:], 0); err != nil {
		return fmt.Errorf("write cursor of the queue: %w", err)
	}
	return nil
}

// readCursor leaves the cursor at the begin of all when it is not whole.
func (s *spool) readCursor() {
	var b [cursorSize]byte
	if _, err := s.cursor.ReadAt(b[:], 0); err != nil || crc32.Checksum(b[:16], table) != binary.LittleEndian.Uint32(b[16:]) {
		return
	}
	s.first, s.offset = binary.LittleEndian.Uint64(b[0:]), int64(binary.LittleEndian.Uint64(b[8:]))
}

// sync brings what is written to the disk itself.
func (s *spool) sync() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	return errors.Join(s.file.Sync(), s.cursor.Sync())
}

func (s *spool) stats() (spoolCounts, int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.counts, s.bytes
}

func (s *spool) close() error {
	var errs []error
	for _, f := range []*os.File{s.file, s.cursor} {
		if f != nil {
			errs = append(errs, f.Close())
		}
	}
	return errors.Join(errs...)
}
