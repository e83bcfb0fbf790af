package snmp

import (
	"errors"
	"fmt"
	"syscall"

	"lightwell/collector"
)

// A Cause is why a unit could not be read.
type Cause string

// Causes.
const (
	Silent            Cause = "no answer"
	SilentToUser      Cause = "the unit answers, but not to this user"
	PortClosed        Cause = "port closed"
	NoRoute           Cause = "no route"
	NameUnknown       Cause = "name not resolved"
	AddressInvalid    Cause = "address not usable"
	UserUnknown       Cause = "unknown user"
	DigestRefused     Cause = "wrong digest"
	DecryptionRefused Cause = "decryption error"
	LevelRefused      Cause = "unsupported security level"
	OutsideWindow     Cause = "outside the time window"
	ContextUnknown    Cause = "unknown context"
	NotAuthorised     Cause = "not authorised"
	Refused           Cause = "message refused"
	NotFitting        Cause = "answer does not fit"
	ErrorStatus       Cause = "error status"
	NoCredentials     Cause = "credentials not configured"
	NoModel           Cause = "model not known"
)

// ErrClosed is wrapped by errors of a Client that has been closed.
var ErrClosed = errors.New("client is closed")

// An Error says why a unit could not be read. It holds no secret. It wraps
// collector.ErrNoAnswer, ErrRefused or ErrMalformed where its cause is of that
// kind, and the error underneath when there is one.
type Error struct {
	Unit    string
	Address string
	Cause   Cause
	Detail  string // what exactly; may be empty
	Err     error  // error underneath; may be nil
}

// Error names unit, address, cause and what is known beyond.
func (e *Error) Error() string {
	s := fmt.Sprintf("read unit %q at %q: %s", e.Unit, e.Address, e.Cause)
	if e.Detail != "" {
		s += ": " + e.Detail
	}
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	return s
}

// Unwrap returns what the error wraps.
func (e *Error) Unwrap() []error {
	var out []error
	if kind := causes[e.Cause].kind; kind != nil {
		out = append(out, kind)
	}
	if e.Err != nil {
		out = append(out, e.Err)
	}
	return out
}

type causeInfo struct {
	kind   error  // of the collector's errors; nil: the unit could not be asked
	advice string // likely mistake and what to try
}

var causes = map[Cause]causeInfo{
	Silent: {collector.ErrNoAnswer, "Nothing came back. In this order: is the unit powered and its management port lit; is the address the unit's own (ping it); " +
		"does a firewall let UDP to its SNMP port and back; does the unit list this host as an allowed manager. " +
		"With versions 1 and 2c a wrong community looks exactly like this: compare it letter by letter with the unit's setting. " +
		"A unit with several addresses may answer from another one: use the address it answers from."},
	SilentToUser: {collector.ErrNoAnswer, "The unit told its engine id but stayed silent to the user's own request. Most likely the privacy password or the privacy protocol is wrong " +
		"(for 192 and 256 bits try the other key extension: blumenthal or reeder), or context names one that the unit does not have; or packets are being lost: try again."},
	PortClosed: {collector.ErrNoAnswer, "The host is there and says that nothing listens on that port. Is SNMP switched on in the unit; is the port right (161 is usual); is the address that of the unit?"},
	NoRoute: {collector.ErrNoAnswer, "This host has no way to that address, or nobody there answers for it. Check address, subnet mask and gateway of this host, the VLAN, the cable " +
		"to the unit's management port, and whether a firewall rejects UDP to the port."},
	NameUnknown:    {nil, "The name in the fleet file could not be resolved. Check its spelling and the name servers of this host, or write the numeric address."},
	AddressInvalid: {nil, "Write the unit's address as host:port, with a numeric host or a name, and square brackets around an IPv6 host."},
	UserUnknown:    {collector.ErrRefused, "The unit does not know this user name. Compare user in the credentials with the unit's user list: upper and lower case count."},
	DigestRefused: {collector.ErrRefused, "The unit knows the user but not this password or authentication protocol. Check auth and the authentication password in the credentials; " +
		"was the unit's engine id changed after its users were set up, set them up again."},
	DecryptionRefused: {collector.ErrRefused, "The unit could not decrypt. Check privacy and the privacy password; for 192 and 256 bits try the other key extension: blumenthal or reeder."},
	LevelRefused:      {collector.ErrRefused, "The unit's user is not set up for this security level. Compare auth and privacy in the credentials with what the unit's user has."},
	OutsideWindow: {collector.ErrRefused, "The unit says again and again that our messages are outside its time window, although we took over its clock. Restart its agent. " +
		"If its boot count stands at 2147483647 it must be set up anew. Two units with the same engine id, or an address translator in between, look like this too."},
	ContextUnknown: {collector.ErrRefused, "The unit does not know this context. Leave context empty in the credentials unless the unit's manual names one."},
	NotAuthorised:  {collector.ErrRefused, "The unit knows us but does not let us read these objects. Give the community or user read access to the unit's own objects in its access control (view)."},
	Refused:        {collector.ErrRefused, "The unit refuses the message itself. Is the SNMP version in the credentials one that the unit speaks?"},
	NotFitting: {collector.ErrMalformed, "Something answers, but not as asked. Does the address belong to another kind of device, or do two devices have the same address? " +
		"Has the unit's software changed? The text above says what did not fit."},
	ErrorStatus:   {collector.ErrMalformed, "The unit reports that it cannot answer. Try again; if it stays, restart the unit's management agent and check its software version."},
	NoCredentials: {nil, "The unit names credentials that are not configured. Add them to the program's configuration, or correct the name in the fleet file."},
	NoModel:       {nil, "No equipment model of that name is loaded. Correct model in the fleet file, or put the model file into the folder of your own models."},
}

// Advice returns the likely mistake behind an error of Probe, Read or
// Identify and what to try, in words for the engineer at the unit. It returns
// "" when nothing useful can be said.
func Advice(err error) string {
	var e *Error
	if errors.As(err, &e) {
		return causes[e.Cause].advice
	}
	return ""
}

// networkCause names what the network says of the unit; "" for nothing.
func networkCause(err error) Cause {
	switch {
	case errors.Is(err, syscall.ECONNREFUSED):
		return PortClosed
	case errors.Is(err, syscall.EHOSTUNREACH), errors.Is(err, syscall.ENETUNREACH), errors.Is(err, syscall.EHOSTDOWN),
		errors.Is(err, syscall.EACCES), errors.Is(err, syscall.EPERM):
		return NoRoute
	}
	return ""
}
