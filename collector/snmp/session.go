package snmp

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"os"
	"syscall"
	"time"

	"go.uber.org/zap"
)

// A session is one unit being asked: one connected socket, so that the kernel
// drops what comes from any other address and port and hands over the ICMP
// errors. It is used by one goroutine and closed when the unit has been read.
type session struct {
	conn    *net.UDPConn
	dialect dialect
	timeout time.Duration
	tries   int
	first   int32 // request id of the first request; the following count up
	next    int32
	buf     []byte
	log     *zap.Logger
	arrived time.Time // when the last answer came
}

// dial connects a socket. The address is numeric or a name, with a port; a name
// must be resolved within patience.
func dial(ctx context.Context, address string, patience time.Duration) (*net.UDPConn, error) {
	if a, err := netip.ParseAddrPort(address); err == nil {
		c, err := net.DialUDP("udp", nil, net.UDPAddrFromAddrPort(a))
		return c, dialError(err)
	}
	if _, _, err := net.SplitHostPort(address); err != nil {
		return nil, &Error{Cause: AddressInvalid, Err: err}
	}
	d := net.Dialer{Timeout: patience}
	c, err := d.DialContext(ctx, "udp", address)
	if err != nil {
		return nil, dialError(err)
	}
	return c.(*net.UDPConn), nil
}

func dialError(err error) error {
	var name *net.DNSError
	switch {
	case err == nil:
		return nil
	case errors.As(err, &name):
		return &Error{Cause: NameUnknown, Err: err}
	case networkCause(err) != "":
		return &Error{Cause: networkCause(err), Err: err}
	}
	return &Error{Cause: AddressInvalid, Err: err}
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

// fetch asks for the objects, at most limit at a time, and fills in their
// values. An object that the unit refuses gets a note and no value, and the
// rest is asked again; an answer that is too big is asked for in halves. So
// there are at most two requests for each object.
func (s *session) fetch(ctx context.Context, objects []*object, limit int) error {
	for len(objects) > limit {
		if err := s.fetch(ctx, objects[:limit], limit); err != nil {
			return err
		}
		objects = objects[limit:]
	}
	for len(objects) > 0 {
		status, index, err := s.get(ctx, objects)
		if err != nil {
			return err
		}
		switch {
		case status == noError:
			return nil
		case status == authorizationError:
			return &Error{Cause: NotAuthorised, Detail: "the unit answers " + statusName(status)}
		case status == tooBig && len(objects) > 1:
			half := len(objects) / 2
			if err := s.fetch(ctx, objects[:half], half); err != nil {
				return err
			}
			objects = objects[half:]
			continue
		case status == tooBig, index == 0 && len(objects) == 1:
			index = 1
		case index == 0:
			return &Error{Cause: ErrorStatus, Detail: "the unit answers " + statusName(status)}
		}
		objects[index-1].note = "the unit answers " + statusName(status)
		objects = without(objects, int(index-1))
	}
	return nil
}

func without(objects []*object, i int) []*object {
	rest := make([]*object, 0, len(objects)-1)
	return append(append(rest, objects[:i]...), objects[i+1:]...)
}

// maxRenewals is how often one request is made anew because the unit has told
// its engine id or clock: once each to discover and to learn the clock, and
// once more for a unit that restarts meanwhile.
const maxRenewals = 3

// get asks for the objects in one request. With status noError their values
// are filled in.
func (s *session) get(ctx context.Context, objects []*object) (status, index int32, err error) {
	id := s.next
	s.next++
	pdu, err := getRequest(id, objects)
	if err != nil {
		return 0, 0, &Error{Cause: NoModel, Err: err}
	}
	accept := func(b []byte) error {
		reply, err := s.dialect.open(b)
		if err != nil {
			return err
		}
		r, err := readResponse(reply, id, objects)
		if err != nil {
			return s.explain(err, reply)
		}
		status, index = r.status, r.index
		for i, f := range r.fields {
			objects[i].value, objects[i].note = value(f)
		}
		return nil
	}
	for renewal := 0; ; renewal++ {
		s.dialect.begin()
		err = s.exchange(ctx, pdu, accept)
		var more *again
		if !errors.As(err, &more) {
			return status, index, err
		}
		if renewal == maxRenewals {
			return 0, 0, &Error{Cause: more.reason.cause, Detail: more.Error() + " to every message"}
		}
	}
}

// errStale: the late or repeated answer to an earlier request of this session.
var errStale = errors.New("answer to an earlier request")

func (s *session) explain(err error, pdu []byte) error {
	if !errors.Is(err, errRequestID) {
		return err
	}
	if id := requestID(pdu); id >= s.first && id < s.next {
		return errStale
	}
	return err
}

// exchange sends a PDU, once for each try, until accept takes an answer or
// returns a final error. Whatever else comes is set aside and uses up no try.
func (s *session) exchange(ctx context.Context, pdu []byte, accept func([]byte) error) error {
	var aside, network error
	for range s.tries {
		err := s.try(ctx, pdu, accept, &aside)
		var final *Error
		var more *again
		switch {
		case err == nil, errors.As(err, &final), errors.As(err, &more):
			return err
		case ctx.Err() != nil:
			return context.Cause(ctx)
		case !errors.Is(err, os.ErrDeadlineExceeded):
			network = err
		}
	}
	if aside != nil {
		return &Error{Cause: NotFitting, Err: aside}
	}
	if cause := networkCause(network); cause != "" {
		return &Error{Cause: cause, Err: network}
	}
	return &Error{Cause: s.dialect.silent(), Detail: fmt.Sprintf("%d tries of %s", s.tries, s.timeout), Err: network}
}

// try sends the PDU once and waits for an answer. aside keeps why the last
// datagram did not count.
func (s *session) try(ctx context.Context, pdu []byte, accept func([]byte) error, aside *error) error {
	message, err := s.dialect.seal(pdu)
	if err != nil {
		return &Error{Cause: Refused, Err: err}
	}
	if err := s.conn.SetReadDeadline(time.Now().Add(s.timeout)); err != nil {
		return err
	}
	// Whoever ends ctx moves the deadline into the past; look after setting it,
	// so that one of the two is seen.
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	if _, err := s.conn.Write(message); err != nil {
		return err
	}
	for {
		n, err := s.conn.Read(s.buf)
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if err != nil {
			return err
		}
		err = accept(s.buf[:n])
		var final *Error
		var more *again
		switch {
		case err == nil:
			s.arrived = time.Now().UTC().Round(0)
			return nil
		case errors.As(err, &final), errors.As(err, &more):
			return err
		case !errors.Is(err, errStale):
			*aside = err
		}
		s.log.Debug("datagram set aside", zap.Error(err))
	}
}
