package state

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// Sizes and marks of SQLite's write-ahead log (its file format, section 4).
const (
	walHeader   = 32
	frameHeader = 24
	walMagic    = 0x377f0682 // the lowest bit: numbers are summed as big-endian
)

// A walReader goes through a write-ahead log.
type walReader struct {
	in     *bufio.Reader
	order  binary.ByteOrder
	page   []byte
	salt   [8]byte
	s0, s1 uint32 // running sum
}

// checkWAL refuses a write-ahead log that is damaged before its last
// transaction. SQLite takes the first frame that does not fit for the end of
// the log, as after a power cut, and drops what follows without a word. But
// every transaction is synced before the next begins: a frame that does not
// fit, with a whole transaction behind its own, was damaged later.
func checkWAL(path string) error {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil || info.Size() <= walHeader {
		return err
	}
	w := &walReader{in: bufio.NewReaderSize(f, 1<<16)}
	if err := w.header(); err != nil {
		return err
	}
	return w.frames()
}

func (w *walReader) header() error {
	var h [walHeader]byte
	if _, err := io.ReadFull(w.in, h[:]); err != nil {
		return err
	}
	magic, size := binary.BigEndian.Uint32(h[:]), binary.BigEndian.Uint32(h[8:])
	w.order = binary.LittleEndian
	if magic&1 == 1 {
		w.order = binary.BigEndian
	}
	w.sum(h[:24])
	if magic&^1 != walMagic || !w.fits(h[24:]) || size < 512 || size > 65536 || size&(size-1) != 0 {
		return fmt.Errorf("%w: the header of its -wal file does not fit", ErrDamaged)
	}
	w.page = make([]byte, size)
	copy(w.salt[:], h[16:24])
	return nil
}

func (w *walReader) frames() error {
	var h [frameHeader]byte
	bad, ended := 0, false // the first frame that does not fit; its transaction has ended
	for n := 1; ; n++ {
		if _, err := io.ReadFull(w.in, h[:]); err != nil {
			return eof(err)
		}
		if _, err := io.ReadFull(w.in, w.page); err != nil {
			return eof(err)
		}
		ours := [8]byte(h[8:16]) == w.salt // others are left over from before the log began anew
		switch {
		case bad == 0:
			w.sum(h[:8])
			w.sum(w.page)
			if ours && w.fits(h[16:]) {
				continue
			}
			bad = n
		case ours && ended:
			return fmt.Errorf("%w: frame %d of its -wal file does not fit, and others follow", ErrDamaged, bad)
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

func (w *walReader) sum(data []byte) {
	for ; len(data) >= 8; data = data[8:] {
		w.s0 += w.order.Uint32(data) + w.s1
		w.s1 += w.order.Uint32(data[4:]) + w.s0
	}
}

func (w *walReader) fits(sums []byte) bool {
	return binary.BigEndian.Uint32(sums) == w.s0 && binary.BigEndian.Uint32(sums[4:]) == w.s1
}
