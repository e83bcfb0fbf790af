package engine

import (
	"hash/maphash"
	"math/bits"
	"net/netip"
)

// places finds the slots of the questions under way to an address: a hash table
// of lists whose size is fixed by the window. Strangers cannot fill it, and as
// the hash is seeded cannot make it slow by their choice of addresses.
type places struct {
	seed  maphash.Seed
	heads []int32 // -1: empty
	next  []int32 // by slot
}

func newPlaces(slots int) places {
	p := places{seed: maphash.MakeSeed(), heads: make([]int32, 1<<bits.Len(uint(slots))), next: make([]int32, slots)}
	for i := range p.heads {
		p.heads[i] = -1
	}
	return p
}

func (p *places) head(a netip.AddrPort) *int32 {
	return &p.heads[maphash.Comparable(p.seed, a)&uint64(len(p.heads)-1)]
}

// first returns the first slot to look at; -1 when there is none.
func (p *places) first(a netip.AddrPort) int32 { return *p.head(a) }

func (p *places) put(a netip.AddrPort, slot int32) {
	h := p.head(a)
	p.next[slot], *h = *h, slot
}

func (p *places) remove(a netip.AddrPort, slot int32) {
	at := p.head(a)
	for *at != slot {
		at = &p.next[*at]
	}
	*at = p.next[slot]
}
