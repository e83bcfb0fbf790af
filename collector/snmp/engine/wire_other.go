//go:build !linux

package engine

import (
	"net"
	"net/netip"
)

// singleWire moves one datagram with each system call.
type singleWire struct {
	conn *net.UDPConn
	in   [largest]byte
}

func newWire(conn *net.UDPConn, _ bool) wire { return &singleWire{conn: conn} }

func (w *singleWire) read(into []datagram) (int, error) {
	n, peer, err := w.conn.ReadFromUDPAddrPort(w.in[:])
	if err != nil {
		return 0, err
	}
	into[0] = datagram{w.in[:n], netip.AddrPortFrom(peer.Addr().Unmap(), peer.Port())}
	return 1, nil
}

func (w *singleWire) write(from []datagram) (int, error) {
	for i, d := range from {
		if _, err := w.conn.WriteToUDPAddrPort(d.data, d.peer); err != nil {
			return i, err
		}
	}
	return len(from), nil
}

// returned: an unconnected socket is not told what became of its messages.
func (w *singleWire) returned(func(d datagram, err error)) int { return 0 }

func refused(error) bool { return false }
