package snmp

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"time"

	"lightwell/collector/snmp/ber"
)

// again: the unit has told us what a better message needs; seal and send anew.
type again struct{ reason report }

func (a *again) Error() string { return "the unit reports " + a.reason.name }

// seal appends the message that carries a PDU to a peer.
func (c *credentials) seal(dst []byte, p *peer, id int32, pdu []byte, now time.Time) []byte {
	if c.version == Version3 {
		return p.engine.Seal(dst, id, pdu, now)
	}
	at := len(dst)
	dst = ber.AppendInt32(ber.Open(dst, ber.Sequence), c.number())
	dst = ber.AppendOctets(dst, ber.OctetString, c.community)
	return ber.Close(append(dst, pdu...), at)
}

// number is what stands for a version in a message of version 1 or 2c.
func (c *credentials) number() int32 {
	if c.version == Version1 {
		return 0
	}
	return 1
}

// open returns the PDU of a reply. An error that is a *again or a *Error is an
// answer; any other means that the message does not count. It may change b,
// and the PDU may alias it.
func (p *poll) open(b []byte, id int32, now time.Time) ([]byte, error) {
	if p.account.version == Version3 {
		return p.openSecured(b, id, now)
	}
	return p.account.open(b)
}

func (c *credentials) open(b []byte) ([]byte, error) {
	outer := ber.NewReader(b)
	r := outer.Into(ber.Sequence)
	version, name := r.Int32(), r.Element(ber.OctetString)
	if err := cmp.Or(r.Err(), outer.End()); err != nil {
		return nil, fmt.Errorf("decode message: %w", err)
	}
	switch {
	case version != c.number():
		return nil, fmt.Errorf("version field is %d instead of %d", version, c.number())
	case !bytes.Equal(name, c.community):
		return nil, errors.New("community is not the one sent")
	}
	return r.Rest(), nil
}

func (p *poll) openSecured(b []byte, id int32, now time.Time) ([]byte, error) {
	e := p.peer.engine
	o, err := e.Open(b, id, now)
	if err != nil {
		return nil, err
	}
	if !o.Report {
		p.met = false
		return o.PDU, nil
	}
	known := e.Known()
	reason, err := reportReason(o.PDU)
	if err != nil {
		return nil, err
	}
	if known && !reason.recoverable {
		return nil, &Error{Cause: reason.cause, Detail: "the unit reports " + reason.name}
	}
	if err := e.Adopt(o, now); err != nil {
		return nil, err
	}
	p.met = true
	return nil, &again{reason}
}

// silent says what it means when nothing came, and prepares for the next poll.
func (p *poll) silent() Cause {
	e := p.peer.engine
	if e == nil {
		return Silent
	}
	known := e.Known()
	e.Forget() // a unit that was exchanged without a word is found again
	if p.met && known {
		return SilentToUser
	}
	return Silent
}

// messageID returns the id by which a message is known: of version 3 the
// message's, of the others the request's.
func messageID(b []byte) (int32, bool) {
	r := ber.NewReader(b).Into(ber.Sequence)
	if r.Int32() == 3 {
		r = r.Into(ber.Sequence)
		id := r.Int32()
		return id, r.Err() == nil
	}
	r.Element(ber.OctetString)
	_, content := r.Any()
	if r.Err() != nil {
		return 0, false
	}
	r = ber.NewReader(content)
	id := r.Int32()
	return id, r.Err() == nil
}

// A report is one row of what an engine may complain of.
type report struct {
	oid         []byte // content octets
	name        string
	cause       Cause
	recoverable bool // the report itself tells what a better message needs
}

// reports: usmStats from RFC 3414 section 5, snmpMPDStats from RFC 3412
// section 5, contexts from RFC 3413 section 4.1.
var reports = []report{
	{[]byte{0x2b, 6, 1, 6, 3, 15, 1, 1, 1, 0}, "usmStatsUnsupportedSecLevels", LevelRefused, false},
	{[]byte{0x2b, 6, 1, 6, 3, 15, 1, 1, 2, 0}, "usmStatsNotInTimeWindows", OutsideWindow, true},
	{[]byte{0x2b, 6, 1, 6, 3, 15, 1, 1, 3, 0}, "usmStatsUnknownUserNames", UserUnknown, false},
	{[]byte{0x2b, 6, 1, 6, 3, 15, 1, 1, 4, 0}, "usmStatsUnknownEngineIDs", Refused, true},
	{[]byte{0x2b, 6, 1, 6, 3, 15, 1, 1, 5, 0}, "usmStatsWrongDigests", DigestRefused, false},
	{[]byte{0x2b, 6, 1, 6, 3, 15, 1, 1, 6, 0}, "usmStatsDecryptionErrors", DecryptionRefused, false},
	{[]byte{0x2b, 6, 1, 6, 3, 11, 2, 1, 1, 0}, "snmpUnknownSecurityModels", Refused, false},
	{[]byte{0x2b, 6, 1, 6, 3, 11, 2, 1, 2, 0}, "snmpInvalidMsgs", Refused, false},
	{[]byte{0x2b, 6, 1, 6, 3, 11, 2, 1, 3, 0}, "snmpUnknownPDUHandlers", Refused, false},
	{[]byte{0x2b, 6, 1, 6, 3, 12, 1, 4, 0}, "snmpUnavailableContexts", ContextUnknown, false},
	{[]byte{0x2b, 6, 1, 6, 3, 12, 1, 5, 0}, "snmpUnknownContexts", ContextUnknown, false},
}

// reportReason reads the one object of a report.
func reportReason(pdu []byte) (report, error) {
	r := ber.NewReader(pdu).Into(ber.Report)
	r.Int32()
	r.Int32()
	r.Int32()
	oid := r.Into(ber.Sequence).Into(ber.Sequence).Element(ber.ObjectID)
	if r.Err() != nil || oid == nil {
		return report{}, errors.New("report without an object")
	}
	for _, known := range reports {
		if bytes.Equal(oid, known.oid) {
			return known, nil
		}
	}
	return report{name: fmt.Sprintf("object %x", oid), cause: Refused}, nil
}
