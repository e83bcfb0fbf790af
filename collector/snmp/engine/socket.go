package engine

import (
	"errors"
	"net"
	"net/netip"
	"sync"
	"time"

	"go.uber.org/zap"
)

const (
	// batch is how many datagrams a system call moves: beyond 64 the cost of the
	// call no longer shows.
	batch = 64
	// largest is the size of any datagram. Room that is never written to costs no
	// memory.
	largest = 65535
	// kernelBuffer holds the answers of a full window.
	kernelBuffer = 4 << 20
)

// A datagram is one message on its way.
type datagram struct {
	data []byte
	peer netip.AddrPort
}

// wire moves datagrams in batches, as far as the system can.
type wire interface {
	// read waits for datagrams and returns how many came. Their data are valid
	// until the next call.
	read(into []datagram) (int, error)
	// write sends datagrams in their order and returns how many went.
	write(from []datagram) (int, error)
	// returned hands over what the network has given back, with the errno, and
	// returns how much that was. The data may be cut short.
	returned(use func(d datagram, err error)) int
}

// A socket serves the questions of one address family with two goroutines:
// send and receive.
type socket struct {
	engine *Engine
	conn   *net.UDPConn
	wire   wire
	start  time.Time
	wake   chan struct{} // there may be something to send
	done   chan struct{}

	mu     sync.Mutex // guards all below
	window *window
	closed bool
}

func newSocket(e *Engine, conn *net.UDPConn, v4 bool) *socket {
	// The kernel may grant less; then a full window loses answers and asks again.
	_ = conn.SetReadBuffer(kernelBuffer)
	_ = conn.SetWriteBuffer(kernelBuffer)
	return &socket{engine: e, conn: conn, wire: newWire(conn, v4), start: time.Now(),
		wake: make(chan struct{}, 1), done: make(chan struct{}),
		window: newWindow(e.cfg.Timeout, e.cfg.Tries, e.cfg.Window, e.cfg.Silent)}
}

func (s *socket) now() time.Duration { return time.Since(s.start) }

func (s *socket) ask(q *Question) error {
	s.mu.Lock()
	if s.closed || q.cancelled {
		s.mu.Unlock()
		if q.cancelled {
			return ErrCancelled
		}
		return ErrClosed
	}
	s.window.add(q)
	s.mu.Unlock()
	s.rouse()
	return nil
}

func (s *socket) cancel(q *Question) {
	s.mu.Lock()
	s.window.cancel(q)
	over := s.window.takeOver(nil)
	s.mu.Unlock()
	finish(over)
	s.rouse()
}

// rouse has send look at the window.
func (s *socket) rouse() {
	select {
	case s.wake <- struct{}{}:
	default:
	}
}

func (s *socket) close() error {
	s.mu.Lock()
	s.closed = true
	s.window.abort(ErrClosed)
	over := s.window.takeOver(nil)
	s.mu.Unlock()
	close(s.done)
	err := s.conn.Close()
	finish(over)
	return err
}

func finish(over []ended) {
	for i := range over {
		over[i].question.Done(over[i].question, over[i].err)
		over[i].question = nil
	}
}

// send sends what is to be sent and ends what has waited too long.
func (s *socket) send() {
	out := make([]datagram, batch)
	for i := range out {
		out[i].data = make([]byte, 0, 1500)
	}
	pace := pacer{perSecond: s.engine.cfg.Pace}
	timer := time.NewTimer(time.Hour)
	defer timer.Stop()
	var over []ended
	for {
		now := s.now()
		may := pace.allow(now, batch)
		s.mu.Lock()
		s.window.expire(now)
		n := s.fill(out[:may], now)
		idle := s.window.idle(now)
		over = s.window.takeOver(over[:0])
		s.mu.Unlock()
		finish(over)
		s.put(out[:n])
		if pace.spent(now, n); n == may { // there may be more to send
			idle = min(idle, pace.pause(now))
		}
		if !s.sleep(timer, idle) {
			return
		}
	}
}

// sleep waits until there is something to do, and returns false when the
// socket has been closed.
func (s *socket) sleep(timer *time.Timer, idle time.Duration) bool {
	if idle <= 0 {
		select {
		case <-s.done:
			return false
		default:
			return true
		}
	}
	timer.Reset(idle)
	select {
	case <-s.done:
		return false
	case <-s.wake:
	case <-timer.C:
	}
	return true
}

// fill seals messages and returns how many.
func (s *socket) fill(out []datagram, now time.Duration) int {
	n, clock := 0, time.Now()
	for n < len(out) {
		at, ok := s.window.next()
		if !ok {
			break
		}
		x := &s.window.slots[at]
		message, err := x.question.Dialect.Message(out[n].data[:0], x.id, clock)
		if err != nil {
			s.window.end(at, err)
			continue
		}
		out[n] = datagram{message, x.question.To}
		s.window.sent(at, now)
		n++
	}
	return n
}

// put writes a batch. A system call may stop for what the network says of an
// earlier message, and then nobody else is told of it; so whatever stops is
// tried again before it counts as undelivered.
func (s *socket) put(out []datagram) {
	for failures := 0; len(out) > 0; {
		n, err := s.wire.write(out)
		s.engine.count.sent.Add(uint64(n))
		out = out[n:]
		switch {
		case len(out) == 0 || errors.Is(err, net.ErrClosed):
			return
		case s.takeBack() > 0 || n > 0:
			failures = 0
		default:
			failures++
		}
		if failures == 3 {
			failures = 0
			s.undelivered(out[0], err, true)
			out = out[1:]
		}
	}
}

// takeBack takes in what the network has given back.
func (s *socket) takeBack() int {
	return s.wire.returned(func(d datagram, err error) { s.undelivered(d, err, refused(err)) })
}

// undelivered finds the question of a message that did not arrive. The network
// may give back too little of it to hold the id; then the address must do.
func (s *socket) undelivered(d datagram, err error, final bool) {
	s.engine.count.undelivered.Add(1)
	s.engine.cfg.Log.Debug("message not delivered", zap.Stringer("address", d.peer), zap.Error(err))
	s.mu.Lock()
	var at int32
	id, ok := idOf(d.data)
	if ok {
		at, ok = s.window.find(id)
		ok = ok && s.window.slots[at].question.To == d.peer
	} else {
		at, ok = s.window.at(d.peer)
	}
	if ok {
		s.window.undelivered(at, err, final)
	}
	over := s.window.takeOver(nil)
	s.mu.Unlock()
	finish(over)
	s.rouse()
}

// receive takes answers in.
func (s *socket) receive() {
	in := make([]datagram, batch)
	var over []ended
	for {
		n, err := s.wire.read(in)
		if errors.Is(err, net.ErrClosed) {
			return
		}
		if err != nil {
			if s.takeBack() == 0 {
				s.engine.cfg.Log.Debug("socket read", zap.Error(err))
			}
			continue
		}
		s.engine.count.received.Add(uint64(n))
		now := time.Now()
		s.mu.Lock()
		for i := range in[:n] {
			s.judge(in[i], now)
		}
		over = s.window.takeOver(over[:0])
		more := len(s.window.again) > 0 || len(over) > 0
		s.mu.Unlock()
		finish(over)
		if more {
			s.rouse()
		}
	}
}

// judge hands a datagram to the question that it may answer.
func (s *socket) judge(d datagram, now time.Time) {
	if id, ok := idOf(d.data); ok {
		if at, ok := s.window.find(id); ok && s.window.slots[at].question.To == d.peer {
			v := s.window.slots[at].question.Dialect.Answer(d.data, id, now)
			if v == Aside {
				s.engine.count.aside.Add(1)
			}
			s.window.judged(at, v)
			return
		}
	}
	at, ok := s.window.at(d.peer)
	if !ok {
		s.engine.count.stray.Add(1)
		return
	}
	s.engine.count.aside.Add(1)
	s.window.slots[at].question.Dialect.Misfit(d.data, s.window.slots[at].id, now)
}
