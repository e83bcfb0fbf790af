package drift

import (
	"encoding/binary"
	"math"
)

// Numbers in store: a float takes three bytes, which is one part in 130,000;
// what is nought takes one bit.

// pack24 returns the upper three bytes of a number, rounded.
func pack24(f float32) uint32 {
	if f != f {
		return 0x7fc000
	}
	return uint32((uint64(math.Float32bits(f)) + 0x80) >> 8)
}

func unpack24(u uint32) float32 { return math.Float32frombits(u << 8) }

// rounded returns a number as it comes back from store.
func rounded(f float32) float32 { return unpack24(pack24(f)) }

// appendFloats writes which of the numbers are not nought, and those.
func appendFloats(b []byte, all ...*float32) []byte {
	at := len(b)
	b = append(b, make([]byte, (len(all)+7)/8)...)
	for i, f := range all {
		if u := pack24(*f); u != 0 {
			b[at+i/8] |= 1 << (i % 8)
			b = append(b, byte(u), byte(u>>8), byte(u>>16))
		}
	}
	return b
}

// appendBytes does so for small counts.
func appendBytes(b []byte, all ...*uint8) []byte {
	at := len(b)
	b = append(b, make([]byte, (len(all)+7)/8)...)
	for i, u := range all {
		if *u != 0 {
			b[at+i/8] |= 1 << (i % 8)
			b = append(b, *u)
		}
	}
	return b
}

// unpacker takes apart what was packed. After the first fault it gives
// noughts.
type unpacker struct {
	rest []byte
	bad  bool
}

func (u *unpacker) take(n int) []byte {
	if n > len(u.rest) {
		u.bad, u.rest = true, nil
		return make([]byte, n)
	}
	out := u.rest[:n]
	u.rest = u.rest[n:]
	return out
}

func (u *unpacker) floats(all ...*float32) {
	mask := u.take((len(all) + 7) / 8)
	for i, f := range all {
		*f = 0
		if mask[i/8]>>(i%8)&1 != 0 {
			b := u.take(3)
			*f = unpack24(uint32(b[0]) | uint32(b[1])<<8 | uint32(b[2])<<16)
		}
	}
}

func (u *unpacker) bytes(all ...*uint8) {
	mask := u.take((len(all) + 7) / 8)
	for i, v := range all {
		*v = 0
		if mask[i/8]>>(i%8)&1 != 0 {
			*v = u.take(1)[0]
		}
	}
}

func (u *unpacker) word() uint32 { return binary.LittleEndian.Uint32(u.take(4)) }

func (u *unpacker) half() uint16 { return binary.LittleEndian.Uint16(u.take(2)) }

// number returns what binary.AppendVarint wrote.
func (u *unpacker) number() int64 {
	v, n := binary.Varint(u.rest)
	if n <= 0 {
		u.bad, u.rest = true, nil
		return 0
	}
	u.rest = u.rest[n:]
	return v
}
