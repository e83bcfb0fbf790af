package engine

import (
	"net"
	"net/netip"
	"syscall"

	"golang.org/x/net/ipv4"
	"golang.org/x/net/ipv6"
)

// batches is what ipv4.PacketConn and ipv6.PacketConn have in common.
type batches interface {
	ReadBatch(ms []ipv4.Message, flags int) (int, error)
	WriteBatch(ms []ipv4.Message, flags int) (int, error)
}

// batchWire moves many datagrams with one system call (recvmmsg, sendmmsg).
type batchWire struct {
	conn batches
	raw  syscall.RawConn
	v4   bool
	in   [batch]ipv4.Message
	out  [batch]ipv4.Message
	to   [batch]net.UDPAddr
}

func newWire(conn *net.UDPConn, v4 bool) wire {
	w := &batchWire{v4: v4, conn: ipv6.NewPacketConn(conn), raw: keepErrors(conn, v4)}
	if v4 {
		w.conn = ipv4.NewPacketConn(conn)
	}
	for i := range w.in {
		w.in[i].Buffers = [][]byte{make([]byte, largest)}
		w.to[i].IP = make(net.IP, net.IPv6len)
		w.out[i].Buffers = make([][]byte, 1)
		w.out[i].Addr = &w.to[i]
	}
	return w
}

func (w *batchWire) read(into []datagram) (int, error) {
	n, err := w.conn.ReadBatch(w.in[:len(into)], 0)
	if err != nil {
		return 0, err
	}
	for i := range n {
		into[i] = datagram{data: w.in[i].Buffers[0][:w.in[i].N]}
		if from, ok := w.in[i].Addr.(*net.UDPAddr); ok {
			peer := from.AddrPort()
			into[i].peer = netip.AddrPortFrom(peer.Addr().Unmap(), peer.Port())
		}
	}
	return n, nil
}

func (w *batchWire) write(from []datagram) (int, error) {
	for i := range from {
		w.out[i].Buffers[0] = from[i].data
		w.address(&w.to[i], from[i].peer)
	}
	n, err := w.conn.WriteBatch(w.out[:len(from)], 0)
	return max(n, 0), err // -1 with an error
}

// address writes an address into one that is there already.
func (w *batchWire) address(to *net.UDPAddr, peer netip.AddrPort) {
	to.Port, to.Zone = int(peer.Port()), peer.Addr().Zone()
	if w.v4 {
		octets := peer.Addr().Unmap().As4()
		to.IP = append(to.IP[:0], octets[:]...)
		return
	}
	octets := peer.Addr().As16()
	to.IP = append(to.IP[:0], octets[:]...)
}
