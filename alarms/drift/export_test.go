package drift

import (
	"encoding/binary"
	"hash/crc32"
)

// Sealed puts the right version and checksum on bytes, so that a fuzzer gets
// beyond them.
func Sealed(b []byte) []byte {
	if len(b) != SeriesSize {
		return b
	}
	b = append([]byte(nil), b...)
	b[0] = seriesVersion
	binary.LittleEndian.PutUint32(b[SeriesSize-4:], crc32.ChecksumIEEE(b[:SeriesSize-4]))
	return b
}
