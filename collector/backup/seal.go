package backup

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"hash"
	"io"
	"os"
)

// The seal is the SHA-256 of the archive before it, in a skippable frame of
// zstd (RFC 8878 3.1.2), which other programs pass over. The checksums within
// zstd do not cover every bit of a file, and tar covers none of its content.
const sealMagic = 0x184D2A5C

const sealSize = 8 + sha256.Size

func seal(sum hash.Hash) []byte {
	out := binary.LittleEndian.AppendUint32(nil, sealMagic)
	out = binary.LittleEndian.AppendUint32(out, sha256.Size)
	return sum.Sum(out)
}

// sealed reads what is under a seal. At the end, check tells whether that is
// what was written.
type sealed struct {
	io.Reader
	sum  hash.Hash
	seal []byte
}

func openSealed(f *os.File) (*sealed, error) {
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	s := &sealed{sum: sha256.New(), seal: make([]byte, sealSize)}
	under := info.Size() - sealSize
	if under < 0 {
		return nil, fmt.Errorf("%w: it is too short; take another one", ErrDamaged)
	}
	if _, err := f.ReadAt(s.seal, under); err != nil {
		return nil, err
	}
	s.Reader = io.TeeReader(io.NewSectionReader(f, 0, under), s.sum)
	return s, nil
}

func (s *sealed) check() error {
	if _, err := io.Copy(io.Discard, s); err != nil {
		return err
	}
	if !bytes.Equal(seal(s.sum), s.seal) {
		return fmt.Errorf("%w: it has another checksum than when it was written; take another one", ErrDamaged)
	}
	return nil
}
