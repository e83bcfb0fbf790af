package usm

import (
	"crypto/aes"
	"crypto/cipher"
	"crypto/subtle"
	"encoding/binary"
	"hash"
	"sync"
)

// A scratch is the room that one digest or encryption works in. What passes
// through an interface would otherwise be made anew for each message.
type scratch struct {
	iv, stream [aes.BlockSize]byte
	block      [128]byte // of the largest hash
	sum        [64]byte
}

var scratches = sync.Pool{New: func() any { return new(scratch) }}

func pool(newHash func() hash.Hash) *sync.Pool {
	return &sync.Pool{New: func() any { return newHash() }}
}

// digest is the truncated HMAC (RFC 2104) of a message, valid until the scratch
// is used again. A hash is not bound to a key, so that a unit costs its key and
// no state.
func (s *scratch) digest(a Auth, key, message []byte) []byte {
	h := a.idle.Get().(hash.Hash)
	defer a.idle.Put(h)
	block := s.block[:h.BlockSize()] // a localised key is never longer
	s.pad(block, key, 0x36)
	h.Reset()
	h.Write(block)
	h.Write(message)
	inner := h.Sum(s.sum[:0])
	s.pad(block, key, 0x5c)
	h.Reset()
	h.Write(block)
	h.Write(inner)
	return h.Sum(s.sum[:0])[:a.MAC]
}

func (s *scratch) pad(block, key []byte, with byte) {
	for i := range block {
		block[i] = with
	}
	subtle.XORBytes(block, block, key)
}

const saltSize = 8

// vector sets the initialisation vector of RFC 3826 3.1.2.1: boots, time, salt.
func (s *scratch) vector(boots, seconds int32, salt []byte) {
	binary.BigEndian.PutUint32(s.iv[0:], uint32(boots))
	binary.BigEndian.PutUint32(s.iv[4:], uint32(seconds))
	copy(s.iv[8:], salt)
}

// encrypt and decrypt run cipher feedback of full blocks over b in place. The
// standard library's own is marked as unfit for new designs; this one is not
// new, and the digest around it gives the authenticity that it lacks.
func (s *scratch) encrypt(block cipher.Block, b []byte) {
	for len(b) > 0 {
		block.Encrypt(s.stream[:], s.iv[:])
		n := subtle.XORBytes(b, b, s.stream[:])
		copy(s.iv[:], b[:n])
		b = b[n:]
	}
}

func (s *scratch) decrypt(block cipher.Block, b []byte) {
	for len(b) > 0 {
		block.Encrypt(s.stream[:], s.iv[:])
		n := copy(s.iv[:], b)
		subtle.XORBytes(b, b, s.stream[:n])
		b = b[n:]
	}
}
