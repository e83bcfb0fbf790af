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

// append writes m behind dst, with a scoped part of m's engine, the context and
// the PDU, not yet encrypted. It returns where the digest, left zero, and the
// content of the scoped part begin.
func (m *message) append(dst []byte, context string, pdu []byte) (b []byte, digest, scoped int) {
	whole := len(dst)
	b = ber.AppendInt32(ber.Open(dst, ber.Sequence), version)
	b = m.appendHead(b)
	b = m.appendSecurity(b)
	digest = len(b) - len(m.salt) - 2 - len(m.digest) // the salt's length has one octet
	outer := len(b)
	if m.level() == AuthPriv {
		b = ber.Open(b, ber.OctetString)
	}
	inner := len(b)
	b = ber.Open(b, ber.Sequence)
	b = ber.AppendOctets(b, ber.OctetString, m.engine)
	b = ber.AppendOctets(b, ber.OctetString, context)
	b = ber.Close(append(b, pdu...), inner)
	size := len(b) - inner
	if m.level() == AuthPriv {
		b = ber.Close(b, outer)
	}
	digest -= len(b) // closing the whole moves what lies in it
	b = ber.Close(b, whole)
	return b, digest + len(b), len(b) - size
}

func (m *message) appendHead(b []byte) []byte {
	at := len(b)
	b = ber.AppendInt32(ber.Open(b, ber.Sequence), m.id)
	b = ber.AppendInt32(b, maxMessage)
	b = append(b, ber.OctetString, 1, m.flags)
	return ber.Close(ber.AppendInt32(b, securityModel), at)
}

func (m *message) appendSecurity(b []byte) []byte {
	outer := len(b)
	b = ber.Open(b, ber.OctetString)
	inner := len(b)
	b = ber.AppendOctets(ber.Open(b, ber.Sequence), ber.OctetString, m.engine)
	b = ber.AppendInt32(b, m.boots)
	b = ber.AppendInt32(b, m.seconds)
	b = ber.AppendOctets(b, ber.OctetString, m.user)
	b = ber.AppendOctets(b, ber.OctetString, m.digest)
	b = ber.AppendOctets(b, ber.OctetString, m.salt)
	return ber.Close(ber.Close(b, inner), outer)
}

// authentic tells whether the digest of m, which aliases b, is the one that
// the key gives. The digest's place in b is zero afterwards.
func (a Auth) authentic(key, b []byte, m *message) bool {
	if len(m.digest) != a.MAC {
		return false
	}
	var got [maxMAC]byte
	n := copy(got[:], m.digest)
	clear(m.digest)
	s := scratches.Get().(*scratch)
	defer scratches.Put(s)
	return subtle.ConstantTimeCompare(got[:n], s.digest(a, key, b)) == 1
}
