package wal_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/state/wal"
)

// A frame of a made-up write-ahead log.
type frame struct {
	salt   byte
	commit bool
	fill   byte
	broken bool // one bit of its page is flipped after it was summed
}

const pageSize = 512

// writeAheadLog builds a log after section 4 of SQLite's file format.
func writeAheadLog(salt byte, order binary.ByteOrder, frames ...frame) []byte {
	var s0, s1 uint32
	sum := func(data []byte) {
		for ; len(data) > 0; data = data[8:] {
			s0 += order.Uint32(data) + s1
			s1 += order.Uint32(data[4:]) + s0
		}
	}
	sums := func(b []byte) []byte { return binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(b, s0), s1) }
	magic := uint32(0x377f0682)
	if order == binary.BigEndian {
		magic++
	}
	log := binary.BigEndian.AppendUint32(nil, magic)
	for _, n := range []uint32{3007000, pageSize, 0, uint32(salt), 7} {
		log = binary.BigEndian.AppendUint32(log, n)
	}
	sum(log)
	log = sums(log)
	for i, f := range frames {
		h := binary.BigEndian.AppendUint32(nil, uint32(i+1))
		size := uint32(0)
		if f.commit {
			size = uint32(i + 1)
		}
		h = binary.BigEndian.AppendUint32(h, size)
		page := make([]byte, pageSize)
		page[7] = f.fill
		sum(h)
		sum(page)
		h = binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(h, uint32(f.salt)), 7)
		h = sums(h)
		if f.broken {
			page[100] ^= 4
		}
		log = append(append(log, h...), page...)
	}
	return log
}

func check(t testing.TB, data []byte) error {
	path := filepath.Join(t.TempDir(), "state.db-wal")
	require.NoError(t, os.WriteFile(path, data, 0o600))
	return wal.Check(path)
}

func TestWriteAheadLog(t *testing.T) {
	part, last := frame{salt: 1, fill: 1}, frame{salt: 1, fill: 2, commit: true}
	broken, brokenLast := part, last
	broken.broken, brokenLast.broken = true, true
	old := frame{salt: 9, commit: true}
	for _, c := range []struct {
		name    string
		frames  []frame
		damaged bool
	}{
		{"empty", nil, false},
		{"whole", []frame{part, last, last}, false},
		{"an unfinished transaction", []frame{part, last, part}, false},
		{"frames of the log before", []frame{part, last, old, old, old}, false},
		{"the last transaction, torn at its end", []frame{last, part, brokenLast}, false},
		{"the last transaction, torn within", []frame{last, broken, part, last}, false},
		{"torn, and frames of the log before", []frame{last, broken, old, old}, false},
		{"one before the last", []frame{brokenLast, last}, true},
		{"one before an unfinished one", []frame{last, broken, last, part}, true},
		{"the first of many", []frame{broken, part, last, last, last}, true},
	} {
		for _, order := range []binary.ByteOrder{binary.LittleEndian, binary.BigEndian} {
			err := check(t, writeAheadLog(1, order, c.frames...))
			require.Equal(t, c.damaged, errors.Is(err, wal.ErrDamaged), "%s: %v", c.name, err)
		}
	}
	sound := writeAheadLog(1, binary.LittleEndian, last, last)
	for _, at := range []int{0, 3, 8, 16, 24, 31} {
		data := append([]byte(nil), sound...)
		data[at] ^= 0x10
		require.ErrorIs(t, check(t, data), wal.ErrDamaged, "byte %d of the header", at)
	}
	require.NoError(t, wal.Check(filepath.Join(t.TempDir(), "none")))
	require.NoError(t, check(t, sound[:20]), "a header that a power cut tore has nothing behind it")
}

func FuzzWriteAheadLog(f *testing.F) {
	f.Add([]byte{})
	f.Add(writeAheadLog(1, binary.LittleEndian, frame{salt: 1, commit: true}, frame{salt: 1, commit: true}))
	f.Add(writeAheadLog(1, binary.BigEndian, frame{salt: 1, broken: true, commit: true}, frame{salt: 1, commit: true}))
	f.Fuzz(func(t *testing.T, data []byte) {
		if err := wal.Scan(bytes.NewReader(data)); err != nil {
			require.ErrorIs(t, err, wal.ErrDamaged)
		}
	})
}
