package drift

import "encoding/binary"

// Sealed puts the right version and checksum on bytes, so that a fuzzer gets
// beyond them.
func Sealed(b []byte) []byte {
	if len(b) < 3 {
		return b
	}
	b = append([]byte(nil), b...)
	b[0] = seriesVersion
	end := len(b) - 2
	binary.LittleEndian.PutUint16(b[end:], sum16(b[:end]))
	return b
}
