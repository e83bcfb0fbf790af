package replay

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"io"

	"github.com/klauspost/compress/zstd"
)

// decompressed returns what is in a plain, gzip or zstd stream, told apart by
// its first bytes, and a function to call when done.
func decompressed(in io.Reader) (io.Reader, func(), error) {
	buffered := bufio.NewReaderSize(in, 1<<16)
	head, err := buffered.Peek(4)
	if err != nil && err != io.EOF {
		return nil, nil, err
	}
	switch {
	case bytes.HasPrefix(head, []byte{0x1f, 0x8b}): // RFC 1952
		z, err := gzip.NewReader(buffered)
		return z, func() {}, err
	case bytes.HasPrefix(head, []byte{0x28, 0xb5, 0x2f, 0xfd}): // RFC 8878
		z, err := zstd.NewReader(buffered, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxMemory(1<<30))
		if err != nil {
			return nil, nil, err
		}
		return z, z.Close, nil
	}
	return buffered, func() {}, nil
}
