package engine

// idOf finds the id in a message: of version 3 the message's, of the others
// the request's, which stands in the clear alike. Only what lies before the id
// is looked at; whether the rest is an answer is the Dialect's business.
func idOf(b []byte) (int32, bool) {
	b, ok := inside(b, 0x30)
	if !ok {
		return 0, false
	}
	version, b, ok := integer(b)
	if !ok {
		return 0, false
	}
	if version == 3 {
		if b, ok = inside(b, 0x30); !ok {
			return 0, false
		}
		id, _, ok := integer(b)
		return id, ok
	}
	if version != 0 && version != 1 {
		return 0, false
	}
	if b, ok = after(b); !ok || len(b) == 0 { // community
		return 0, false
	}
	if b, ok = inside(b, b[0]); !ok {
		return 0, false
	}
	id, _, ok := integer(b)
	return id, ok
}

// head reads tag and length: the content of an element lies between from and
// to. Lengths of up to two octets are all that fits a datagram.
func head(b []byte) (from, to int, ok bool) {
	if len(b) < 2 {
		return 0, 0, false
	}
	from, n := 2, int(b[1])
	switch {
	case n < 0x80:
	case n == 0x81 && len(b) >= 3:
		from, n = 3, int(b[2])
	case n == 0x82 && len(b) >= 4:
		from, n = 4, int(b[2])<<8|int(b[3])
	default:
		return 0, 0, false
	}
	return from, from + n, from+n <= len(b)
}

func inside(b []byte, tag byte) ([]byte, bool) {
	from, to, ok := head(b)
	if !ok || b[0] != tag {
		return nil, false
	}
	return b[from:to], true
}

func after(b []byte) ([]byte, bool) {
	_, to, ok := head(b)
	if !ok {
		return nil, false
	}
	return b[to:], true
}

func integer(b []byte) (v int32, rest []byte, ok bool) {
	from, to, ok := head(b)
	if !ok || b[0] != 0x02 || to == from || to-from > 4 {
		return 0, nil, false
	}
	v = int32(int8(b[from]))
	for _, x := range b[from+1 : to] {
		v = v<<8 | int32(x)
	}
	return v, b[to:], true
}
