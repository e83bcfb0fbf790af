package agent

import (
	"hash"
	"slices"
	"time"
)

// Answer answers one datagram without a socket.
func (a *Agents) Answer(unit string, datagram []byte, now time.Time) []byte {
	s := a.sessions.Get().(*session)
	defer a.sessions.Put(s)
	return slices.Clone(a.byID[unit].answer(s, slices.Clone(datagram), now))
}

// Restamp changes how often an engine has booted.
func (a *Agents) Restamp(unit string, boots int32) { a.byID[unit].engine.boots = boots }

// Keys returns Ku, Kul and the MAC of a message.
func Keys(auth string, password, engineID, message []byte) (ku, kul, mac []byte) {
	d := digests[auth]
	ku = passwordKey(d.new, password)
	kul = localKey(d.new, ku, engineID)
	s := &session{}
	acc := account{level: authNoPriv, digest: d, authKu: ku}
	return ku, kul, s.sign(acc.localize(engineID), message)[:d.mac]
}

// Extended returns a localized key lengthened as the named cipher wants it.
func Extended(new func() hash.Hash, cipher string, kul, engineID []byte) []byte {
	return ciphers[cipher].extend(new, kul, engineID)[:ciphers[cipher].key]
}

// ParseOID and OIDText go from text to octets and back.
func ParseOID(s string) ([]byte, bool) {
	ids, ok := parseOID(s)
	if !ok {
		return nil, false
	}
	return encodeOID(ids), true
}

// SubIDs decodes octets.
func SubIDs(content []byte) ([]uint32, bool) { return appendSubIDs(nil, content) }
