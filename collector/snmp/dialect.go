package snmp

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"time"

	"lightwell/collector/snmp/ber"
	"lightwell/collector/snmp/usm"
)

// A dialect wraps PDUs into messages of one SNMP version and takes replies
// apart. One dialect serves one session.
type dialect interface {
	// begin starts a new message: replies to those before do not count any more.
	begin()
	seal(pdu []byte) ([]byte, error)
	// open returns the PDU of a reply. An error that is a *again or a *Error is
	// an answer; any other means that the message does not count. It may change
	// b, and the PDU may alias it.
	open(b []byte) (pdu []byte, err error)
	// silent says what it means when nothing came, and prepares for the next
	// session.
	silent() Cause
}

// again: the unit has told us what a better message needs; seal and send anew.
type again struct{ reason report }

func (a *again) Error() string { return "the unit reports " + a.reason.name }

// A community is the dialect of versions 1 and 2c.
type community struct {
	version int32
	name    []byte
}

func (c community) begin() {}

func (c community) silent() Cause { return Silent }

func (c community) seal(pdu []byte) ([]byte, error) {
	body := ber.AppendInt32(make([]byte, 0, len(pdu)+len(c.name)+16), c.version)
	body = ber.Append(body, ber.OctetString, c.name)
	body = append(body, pdu...)
	return ber.Append(make([]byte, 0, len(body)+4), ber.Sequence, body), nil
}

func (c community) open(b []byte) ([]byte, error) {
	outer := ber.NewReader(b)
	r := outer.Into(ber.Sequence)
	version, name := r.Int32(), r.Element(ber.OctetString)
	switch err := cmp.Or(r.Err(), outer.End()); {
	case err != nil:
		return nil, fmt.Errorf("decode message: %w", err)
	case version != c.version:
		return nil, fmt.Errorf("version field is %d instead of %d", version, c.version)
	case !bytes.Equal(name, c.name):
		return nil, errors.New("community is not the one sent")
	}
	return r.Rest(), nil
}

// A secured is the dialect of version 3.
type secured struct {
	engine *usm.Engine
	newID  func() int32
	ids    []int32 // messages of the request under way
	later  bool    // the request under way is not the first
	met    bool    // the engine has told us its id but not answered since
}

func (s *secured) begin() {
	s.later = len(s.ids) > 0
	s.ids = s.ids[:0]
}

func (s *secured) silent() Cause {
	known := s.engine.Known()
	s.engine.Forget() // a unit that was exchanged without a word is found again
	if s.met && known {
		return SilentToUser
	}
	return Silent
}

func (s *secured) seal(pdu []byte) ([]byte, error) {
	id := s.newID()
	s.ids = append(s.ids, id)
	return s.engine.Seal(id, pdu, time.Now())
}

func (s *secured) open(b []byte) ([]byte, error) {
	now := time.Now()
	o, err := s.engine.Open(b, s.ids, now)
	if errors.Is(err, usm.ErrID) && s.later {
		return nil, errStale
	}
	if err != nil {
		return nil, err
	}
	if !o.Report {
		s.met = false
		return o.PDU, nil
	}
	known := s.engine.Known()
	reason, err := reportReason(o.PDU)
	if err != nil {
		return nil, err
	}
	if known && !reason.recoverable {
		return nil, &Error{Cause: reason.cause, Detail: "the unit reports " + reason.name}
	}
	if err := s.engine.Adopt(o, now); err != nil {
		return nil, err
	}
	s.met = true
	return nil, &again{reason}
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
