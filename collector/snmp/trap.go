package snmp

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/netip"
	"time"

	"go.uber.org/zap"

	"lightwell/collector/snmp/ber"
)

// trapPause is how long after a trap further traps of the same sender ask for
// nothing, so that a storm of them cannot crowd out the schedule.
const trapPause = 5 * time.Second

// A Listener hears traps and informs. A trap is a hint and never a reading: it
// may be forged, repeated or lost, so all it does is ask for a poll of the
// units at its sender's address. Informs of versions 1 and 2c are answered;
// those of version 3 are not, as they would make us the authoritative engine.
type Listener struct {
	conn  *net.UDPConn
	known func(netip.Addr) []string
	poll  func(unit string) bool
	log   *zap.Logger
}

// NewListener opens the UDP port at addr, usually ":162". known returns the ids
// of the units at an address, nil for strangers, whose datagrams are dropped;
// poll asks for a poll of one unit and may refuse (collector.Poller.PollNow).
func NewListener(addr string, known func(netip.Addr) []string, poll func(unit string) bool, log *zap.Logger) (*Listener, error) {
	at, err := net.ResolveUDPAddr("udp", addr)
	if err != nil {
		return nil, fmt.Errorf("listen for traps at %q: %w", addr, err)
	}
	conn, err := net.ListenUDP("udp", at)
	if err != nil {
		return nil, fmt.Errorf("listen for traps at %q: %w", addr, err)
	}
	return &Listener{conn, known, poll, log}, nil
}

// Addr returns the address at which the Listener hears.
func (l *Listener) Addr() netip.AddrPort { return l.conn.LocalAddr().(*net.UDPAddr).AddrPort() }

// Run hears until ctx ends, then closes the port and returns nil; an error
// means that the port has failed.
func (l *Listener) Run(ctx context.Context) error {
	defer context.AfterFunc(ctx, func() { _ = l.conn.SetReadDeadline(time.Unix(1, 0)) })()
	defer l.conn.Close()
	quiet := map[netip.Addr]time.Time{} // only known senders get in
	buf := make([]byte, maxDatagram)
	for {
		n, from, err := l.conn.ReadFromUDPAddrPort(buf)
		switch {
		case ctx.Err() != nil:
			return nil
		case err != nil:
			return fmt.Errorf("hear traps: %w", err)
		}
		sender := from.Addr().Unmap()
		units := l.known(sender)
		if len(units) == 0 {
			continue
		}
		answer, err := readTrap(buf[:n])
		if err != nil {
			l.log.Debug("datagram is no trap", zap.Strings("unit", units), zap.Error(err))
			continue
		}
		if answer != nil {
			_, _ = l.conn.WriteToUDPAddrPort(answer, from)
		}
		if now := time.Now(); now.After(quiet[sender]) {
			quiet[sender] = now.Add(trapPause)
			for _, unit := range units {
				l.log.Debug("trap asks for a poll", zap.String("unit", unit), zap.Bool("taken", l.poll(unit)))
			}
		}
	}
}

var errNoTrap = errors.New("not a trap of version 1, 2c or 3")

// readTrap checks that b is a trap or inform message, as far as can be told
// without keys: of version 3 the content may be encrypted. For an inform it
// returns the answer: the same message as a response (RFC 3416 4.2.7).
func readTrap(b []byte) (answer []byte, err error) {
	if !ber.Whole(b) {
		return nil, errNoTrap
	}
	r := ber.NewReader(b).Into(ber.Sequence)
	version := r.Int32()
	if version == 3 {
		r.Into(ber.Sequence).Int32()
		r.Element(ber.OctetString)
		if tag, _ := r.Any(); tag != ber.Sequence && tag != ber.OctetString {
			return nil, errNoTrap
		}
		return nil, r.End()
	}
	r.Element(ber.OctetString)
	at := len(b) - len(r.Rest())
	tag, _ := r.Any()
	if err := r.End(); err != nil {
		return nil, err
	}
	switch {
	case version == 0 && tag == ber.TrapV1, version == 1 && tag == ber.TrapV2:
		return nil, nil
	case version == 1 && tag == ber.Inform:
		answer = append([]byte(nil), b...)
		answer[at] = ber.Response
		return answer, nil
	}
	return nil, errNoTrap
}
