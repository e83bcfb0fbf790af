package engine

import (
	"errors"
	"fmt"
	"net"
	"net/netip"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"
)

// Config configures an Engine.
type Config struct {
	Timeout time.Duration // wait for an answer, per try
	Tries   int           // messages sent for a question before it is silent; at least 1
	Window  int           // questions under way at once, per address family
	Silent  int           // more of them for units that stayed silent; 0: an eighth of Window
	Pace    int           // messages a second, per address family; 0: as fast as they go
	Log     *zap.Logger
}

func (c *Config) complete() error {
	if c.Silent == 0 {
		c.Silent = max(c.Window/8, 1)
	}
	if c.Log == nil {
		c.Log = zap.NewNop()
	}
	switch {
	case c.Timeout <= 0:
		return errors.New("the timeout must be above zero")
	case c.Tries < 1:
		return errors.New("there must be at least one try")
	case c.Window < 1 || c.Silent < 0 || c.Window+c.Silent > MaxWindow:
		return fmt.Errorf("the windows must hold between 1 and %d questions together", MaxWindow)
	case c.Pace < 0:
		return errors.New("the pace must not be below zero")
	}
	return nil
}

// Stats counts what an engine has seen since it was made.
type Stats struct {
	Sent, Received uint64 // datagrams
	Stray          uint64 // datagrams from where no question is under way
	Aside          uint64 // that came from a unit under way and did not count
	Undelivered    uint64 // messages that the network gave back
}

// Plus adds the counts of two engines.
func (s Stats) Plus(t Stats) Stats {
	return Stats{s.Sent + t.Sent, s.Received + t.Received, s.Stray + t.Stray, s.Aside + t.Aside, s.Undelivered + t.Undelivered}
}

type counters struct{ sent, received, stray, aside, undelivered atomic.Uint64 }

// An Engine asks questions. Safe for concurrent use.
type Engine struct {
	cfg   Config
	count counters

	mu      sync.Mutex
	closed  bool
	sockets [2]*socket // IPv4, IPv6; opened with the first question
	loops   sync.WaitGroup
}

// New returns an Engine; Close ends it. It opens a socket for each address
// family with the first question that needs it.
func New(cfg Config) (*Engine, error) {
	if err := cfg.complete(); err != nil {
		return nil, fmt.Errorf("SNMP engine: %w", err)
	}
	return &Engine{cfg: cfg}, nil
}

// Ask asks a question. It does not wait; q.Done is called when the question has
// ended, and it may be called before Ask returns. An error means that the
// question was not taken and Done will not be called.
func (e *Engine) Ask(q *Question) error {
	q.To = netip.AddrPortFrom(q.To.Addr().Unmap(), q.To.Port())
	s, err := e.socket(q.To.Addr().Is4())
	if err != nil {
		return err
	}
	return s.ask(q)
}

// Cancel ends a question with ErrCancelled: Done has been called when it returns.
// One that has ended is refused with ErrCancelled when it is asked again.
func (e *Engine) Cancel(q *Question) {
	family := familyOf(q.To.Addr().Unmap().Is4())
	e.mu.Lock()
	s := e.sockets[family]
	e.mu.Unlock()
	if s != nil {
		s.cancel(q)
	}
}

// Stats returns the counts.
func (e *Engine) Stats() Stats {
	c := &e.count
	return Stats{c.sent.Load(), c.received.Load(), c.stray.Load(), c.aside.Load(), c.undelivered.Load()}
}

// Close ends all questions with ErrClosed, closes the sockets and waits for the
// goroutines. It may be called again, but not from Question.Done.
func (e *Engine) Close() error {
	e.mu.Lock()
	e.closed = true
	sockets := e.sockets
	e.sockets = [2]*socket{}
	e.mu.Unlock()
	var errs []error
	for _, s := range sockets {
		if s != nil {
			errs = append(errs, s.close())
		}
	}
	e.loops.Wait()
	return errors.Join(errs...)
}

func familyOf(v4 bool) int {
	if v4 {
		return 0
	}
	return 1
}

func (e *Engine) socket(v4 bool) (*socket, error) {
	family, network := familyOf(v4), "udp4"
	if !v4 {
		network = "udp6"
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	switch {
	case e.closed:
		return nil, ErrClosed
	case e.sockets[family] != nil:
		return e.sockets[family], nil
	}
	conn, err := net.ListenUDP(network, nil)
	if err != nil {
		return nil, fmt.Errorf("open socket: %w", err)
	}
	s := newSocket(e, conn, v4)
	e.sockets[family] = s
	e.loops.Go(s.send)
	e.loops.Go(s.receive)
	return s, nil
}
