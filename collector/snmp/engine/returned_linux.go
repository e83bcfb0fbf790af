package engine

import (
	"encoding/binary"
	"errors"
	"net"
	"net/netip"
	"strconv"
	"syscall"
)

// keepErrors has the kernel keep the ICMP errors about our messages in the
// socket's error queue (ip(7), IP_RECVERR), as an unconnected socket is not
// told of them otherwise.
func keepErrors(conn *net.UDPConn, v4 bool) syscall.RawConn {
	raw, err := conn.SyscallConn()
	if err != nil {
		return nil
	}
	level, option := syscall.IPPROTO_IP, syscall.IP_RECVERR
	if !v4 {
		level, option = syscall.IPPROTO_IPV6, syscall.IPV6_RECVERR
	}
	_ = raw.Control(func(fd uintptr) { err = syscall.SetsockoptInt(int(fd), level, option, 1) })
	if err != nil {
		return nil
	}
	return raw
}

// refused tells whether an error is the last word on a message: the host is
// there and its port closed. A missing route may be back in a moment.
func refused(err error) bool { return errors.Is(err, syscall.ECONNREFUSED) }

// returned empties the error queue.
func (w *batchWire) returned(use func(d datagram, err error)) int {
	if w.raw == nil {
		return 0
	}
	n := 0
	_ = w.raw.Control(func(fd uintptr) {
		var data [512]byte
		var side [512]byte
		for {
			size, sideSize, _, to, err := syscall.Recvmsg(int(fd), data[:], side[:], syscall.MSG_ERRQUEUE|syscall.MSG_DONTWAIT)
			if err == syscall.EINTR {
				continue
			}
			if err != nil {
				return
			}
			n++
			if cause := extendedError(side[:sideSize]); cause != 0 {
				use(datagram{data[:size], addressOf(to)}, cause)
			}
		}
	})
	return n
}

// extendedError finds the errno in the control messages: the first four octets
// of struct sock_extended_err.
func extendedError(side []byte) syscall.Errno {
	messages, err := syscall.ParseSocketControlMessage(side)
	if err != nil {
		return 0
	}
	for _, m := range messages {
		v4 := m.Header.Level == syscall.IPPROTO_IP && m.Header.Type == syscall.IP_RECVERR
		v6 := m.Header.Level == syscall.IPPROTO_IPV6 && m.Header.Type == syscall.IPV6_RECVERR
		if (v4 || v6) && len(m.Data) >= 4 {
			return syscall.Errno(binary.NativeEndian.Uint32(m.Data))
		}
	}
	return 0
}

func addressOf(a syscall.Sockaddr) netip.AddrPort {
	switch a := a.(type) {
	case *syscall.SockaddrInet4:
		return netip.AddrPortFrom(netip.AddrFrom4(a.Addr), uint16(a.Port))
	case *syscall.SockaddrInet6:
		ip := netip.AddrFrom16(a.Addr)
		if a.ZoneId != 0 {
			ip = ip.WithZone(zone(a.ZoneId))
		}
		return netip.AddrPortFrom(ip, uint16(a.Port))
	}
	return netip.AddrPort{}
}

func zone(id uint32) string {
	if i, err := net.InterfaceByIndex(int(id)); err == nil {
		return i.Name
	}
	return strconv.Itoa(int(id))
}
