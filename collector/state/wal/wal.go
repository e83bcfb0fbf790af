// Package wal looks into the write-ahead log that SQLite leaves beside its
// database after a kill, and finds damage that SQLite passes over. It only
// reads. What it knows of the file is section 4 of SQLite's description of
// its file format.
package wal

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// Sizes and mark of the format.
const (
	headerSize      = 32
	frameHeaderSize = 24
	magicNumber     = 0x377f0682 // the lowest bit: numbers are summed as big-endian
)

// A reader goes through a write-ahead log.
type reader struct {
	in     io.Reader
	order  binary.ByteOrder
	page   []byte
	salt   [8]byte
	s0, s1 uint32 // running sum
}

// ErrDamaged: the log is not what was written.
var ErrDamaged = errors.New("write-ahead log damaged")

// Check refuses a write-ahead log that is damaged before its last transaction
// with an error that wraps ErrDamaged. SQLite takes the first frame that does
// not fit for the end of the log, as after a power cut, and drops what
// follows without a word. But every transaction is synced before the next
// begins: a frame that does not fit, with a whole transaction behind its own,
// was damaged later. No file is a sound log.
func Check(path string) error {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close()
	return Scan(bufio.NewReaderSize(f, 1<<16))
}

// Scan is Check for a log that is read from in.
func Scan(in io.Reader) error {
	l := &reader{in: in}
	if err := l.header(); err != nil {
		return eof(err) // torn before anything was behind it
	}
	return l.frames()
}

func (r *reader) header() error {
	var h [headerSize]byte
	if _, err := io.ReadFull(r.in, h[:]); err != nil {
		return err
	}
	magic, size := binary.BigEndian.Uint32(h[:]), binary.BigEndian.Uint32(h[8:])
	r.order = binary.LittleEndian
	if magic&1 == 1 {
		r.order = binary.BigEndian
	}
	r.sum(h[:24])
	if magic&^1 != magicNumber || !r.fits(h[24:]) || size < 512 || size > 65536 || size&(size-1) != 0 {
		return fmt.Errorf("%w: its header does not fit", ErrDamaged)
	}
	r.page = make([]byte, size)
	copy(r.salt[:], h[16:24])
	return nil
}

func (r *reader) frames() error {
	var h [frameHeaderSize]byte
	bad, ended := 0, false // the first frame that does not fit; its transaction has ended
	for n := 1; ; n++ {
		if _, err := io.ReadFull(r.in, h[:]); err != nil {
			return eof(err)
		}
		if _, err := io.ReadFull(r.in, r.page); err != nil {
			return eof(err)
		}
		ours := [8]byte(h[8:16]) == r.salt // others are left over from before the log began anew
		switch {
		case bad == 0:
			r.sum(h[:8])
			r.sum(r.page)
			if ours && r.fits(h[16:]) {
				continue
			}
			bad = n
		case ours && ended:
			return fmt.Errorf("%w: frame %d does not fit, and whole transactions follow", ErrDamaged, bad)
		}
		commit := binary.BigEndian.Uint32(h[4:8]) > 0
		ended = ended || ours && commit
	}
}

// eof returns nil for the end of the file, also within a frame.
func eof(err error) error {
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return nil
	}
	return err
}

func (r *reader) sum(data []byte) {
	for ; len(data) >= 8; data = data[8:] {
		r.s0 += r.order.Uint32(data) + r.s1
		r.s1 += r.order.Uint32(data[4:]) + r.s0
	}
}

func (r *reader) fits(sums []byte) bool {
	return binary.BigEndian.Uint32(sums) == r.s0 && binary.BigEndian.Uint32(sums[4:]) == r.s1
}
