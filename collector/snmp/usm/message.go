package usm

import (
	"cmp"
	"crypto/subtle"
	"errors"
	"fmt"

	"lightwell/collector/snmp/ber"
)

const (
	version        = 3
	securityModel  = 3
	maxMessage     = 65507 // largest UDP payload over IPv4
	flagReportable = 0x04
	flagLevel      = 0x03
)

// message is a version 3 message (RFC 3412 section 6, RFC 3414 2.4). In a
// decoded one every slice aliases the octets that came.
type message struct {
	id      int32
	flags   byte
	engine  []byte
	boots   int32
	seconds int32
	user    []byte
	digest  []byte
	salt    []byte
	scoped  []byte // plain: content of the SEQUENCE; encrypted: content of the OCTET STRING
}

func (m *message) level() Level { return Level(m.flags & flagLevel) }

func decode(b []byte) (m message, err error) {
	outer := ber.NewReader(b)
	r := outer.Into(ber.Sequence)
	if v := r.Int32(); r.Err() == nil && v != version {
		return m, fmt.Errorf("version field is %d", v)
	}
	head := r.Into(ber.Sequence)
	m.id = head.Int32()
	head.Int32() // the size that the sender can take
	flags := head.Element(ber.OctetString)
	model := head.Int32()
	security := ber.NewReader(r.Element(ber.OctetString))
	s := security.Into(ber.Sequence)
	m.engine = s.Element(ber.OctetString)
	m.boots, m.seconds = s.Int32(), s.Int32()
	m.user = s.Element(ber.OctetString)
	m.digest = s.Element(ber.OctetString)
	m.salt = s.Element(ber.OctetString)
	if err = cmp.Or(head.End(), s.End(), security.End(), r.Err()); err != nil {
		return m, err
	}
	if len(flags) != 1 || model != securityModel || m.boots < 0 || m.seconds < 0 {
		return m, errors.New("flags, security model or engine time are not of the user-based security model")
	}
	m.flags = flags[0]
	switch m.level() {
	case NoAuth, AuthOnly:
		m.scoped = r.Element(ber.Sequence)
	case AuthPriv:
		m.scoped = r.Element(ber.OctetString)
	default:
		return m, errors.New("encrypted but not authenticated")
	}
	return m, cmp.Or(r.End(), outer.End())
}

// encode writes m. The digest's place is left zero.
func (m *message) encode() []byte {
	head := ber.AppendInt32(nil, m.id)
	head = ber.AppendInt32(head, maxMessage)
	head = ber.Append(head, ber.OctetString, []byte{m.flags})
	head = ber.AppendInt32(head, securityModel)

	s := ber.Append(make([]byte, 0, 128), ber.OctetString, m.engine)
	s = ber.AppendInt32(s, m.boots)
	s = ber.AppendInt32(s, m.seconds)
	s = ber.Append(s, ber.OctetString, m.user)
	s = ber.Append(s, ber.OctetString, m.digest)
	s = ber.Append(s, ber.OctetString, m.salt)

	tag := byte(ber.Sequence)
	if m.level() == AuthPriv {
		tag = ber.OctetString
	}
	body := make([]byte, 0, len(m.scoped)+256)
	body = ber.AppendInt32(body, version)
	body = ber.Append(body, ber.Sequence, head)
	body = ber.Append(body, ber.OctetString, ber.Append(nil, ber.Sequence, s))
	body = ber.Append(body, tag, m.scoped)
	return ber.Append(make([]byte, 0, len(body)+4), ber.Sequence, body)
}

// sign fills in the digest of the encoded message b.
func (a Auth) sign(key, b []byte) error {
	m, err := decode(b)
	if err != nil {
		return fmt.Errorf("sign message: %w", err)
	}
	copy(m.digest, a.Digest(key, b))
	return nil
}

// authentic tells whether the digest of m, which aliases b, is the one that
// the key gives. The digest's place in b is zero afterwards.
func (a Auth) authentic(key, b []byte, m *message) bool {
	if len(m.digest) != a.MAC {
		return false
	}
	got := append([]byte(nil), m.digest...)
	clear(m.digest)
	return subtle.ConstantTimeCompare(got, a.Digest(key, b)) == 1
}
