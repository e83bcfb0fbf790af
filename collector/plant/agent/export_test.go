package agent

import (
	"hash"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Answer answers one datagram without a socket.
func (a *Agents) Answer(unit string, datagram []byte, now time.Time) []byte {
	s := a.sessions.Get().(*session)
	defer a.sessions.Put(s)
	return slices.Clone(a.byID[unit].answer(s, slices.Clone(datagram), now))
}

// An Exchange answers one datagram again and again without copying the reply.
func (a *Agents) Exchange(unit string) func(datagram []byte, now time.Time) []byte {
	s, u := a.sessions.New().(*session), a.byID[unit]
	return func(datagram []byte, now time.Time) []byte { return u.answer(s, datagram, now) }
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

// ParseOID turns a name from text to octets.
func ParseOID(s string) ([]byte, bool) {
	ids, ok := parseOID(s)
	if !ok {
		return nil, false
	}
	return encodeOID(ids), true
}

// OIDText turns a name from octets to text.
func OIDText(content []byte) (string, bool) {
	ids, ok := appendSubIDs(nil, content)
	text := make([]string, len(ids))
	for i, id := range ids {
		text[i] = strconv.FormatUint(uint64(id), 10)
	}
	return strings.Join(text, "."), ok
}
