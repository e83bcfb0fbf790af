package engine_test

import (
	"encoding/binary"
	"errors"
	"net"
	"net/netip"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/snmp/engine"
)

// talk is a Dialect of the shortest messages that carry an id: version 1
// (SNMPv2c), an empty community, and a PDU of the id alone.
type talk struct {
	verdict func(b []byte) engine.Verdict // nil: Taken
	fault   error
	sent    atomic.Int32
	misfits atomic.Int32
}

func message(dst []byte, id int32) []byte {
	dst = append(dst, 0x30, 13, 0x02, 1, 1, 0x04, 0, 0xa0, 6, 0x02, 4)
	return binary.BigEndian.AppendUint32(dst, uint32(id))
}

func (d *talk) Message(dst []byte, id int32, _ time.Time) ([]byte, error) {
	d.sent.Add(1)
	return message(dst, id), nil
}

func (d *talk) Answer(b []byte, _ int32, _ time.Time) engine.Verdict {
	if d.verdict == nil {
		return engine.Taken
	}
	return d.verdict(b)
}

func (d *talk) Misfit([]byte, int32, time.Time) { d.misfits.Add(1) }

func (d *talk) Fault() error { return d.fault }

// peer answers each datagram with what reply makes of it.
func peer(t testing.TB, reply func(conn *net.UDPConn, b []byte, from netip.AddrPort)) netip.AddrPort {
	t.Helper()
	conn, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	gone := make(chan struct{})
	go func() {
		defer close(gone)
		b := make([]byte, 2048)
		for {
			n, from, err := conn.ReadFromUDPAddrPort(b)
			if err != nil {
				return
			}
			reply(conn, b[:n], from)
		}
	}()
	t.Cleanup(func() { conn.Close(); <-gone })
	return conn.LocalAddr().(*net.UDPAddr).AddrPort()
}

func echo(conn *net.UDPConn, b []byte, from netip.AddrPort) { _, _ = conn.WriteToUDPAddrPort(b, from) }

func start(t testing.TB, cfg engine.Config) *engine.Engine {
	t.Helper()
	e, err := engine.New(cfg)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, e.Close()) })
	return e
}

// ask asks and waits for the end.
func ask(t testing.TB, e *engine.Engine, to netip.AddrPort, d engine.Dialect) error {
	t.Helper()
	over := make(chan error, 1)
	require.NoError(t, e.Ask(&engine.Question{To: to, Dialect: d, Done: func(_ *engine.Question, err error) { over <- err }}))
	return <-over
}

func quick() engine.Config {
	return engine.Config{Timeout: 50 * time.Millisecond, Tries: 2, Window: 8, Silent: 2}
}

func TestAnswered(t *testing.T) {
	e := start(t, quick())
	require.NoError(t, ask(t, e, peer(t, echo), &talk{}))
	require.Eventually(t, func() bool { return e.Stats() == engine.Stats{Sent: 1, Received: 1} }, 5*time.Second, time.Millisecond)
}

func TestSilentAfterAllTries(t *testing.T) {
	e := start(t, quick())
	d := &talk{}
	require.ErrorIs(t, ask(t, e, peer(t, func(*net.UDPConn, []byte, netip.AddrPort) {}), d), engine.ErrSilent)
	require.EqualValues(t, 2, d.sent.Load())
}

func TestVerdicts(t *testing.T) {
	boom := errors.New("boom")
	to := peer(t, echo)
	for name, c := range map[string]struct {
		verdicts []engine.Verdict // the last one stays
		fault    error
		want     error
		sent     int32
	}{
		"again, then taken":     {[]engine.Verdict{engine.Again, engine.Taken}, nil, nil, 2},
		"failed":                {[]engine.Verdict{engine.Failed}, boom, boom, 1},
		"aside uses up no more": {[]engine.Verdict{engine.Aside}, boom, engine.ErrSilent, 2},
	} {
		t.Run(name, func(t *testing.T) {
			e := start(t, quick())
			n := 0
			d := &talk{fault: c.fault, verdict: func([]byte) engine.Verdict {
				v := c.verdicts[min(n, len(c.verdicts)-1)]
				n++
				return v
			}}
			err := ask(t, e, to, d)
			if c.want == nil {
				require.NoError(t, err)
			} else {
				require.ErrorIs(t, err, c.want)
			}
			require.Equal(t, c.sent, d.sent.Load())
		})
	}
}

func TestStrangersDoNotCount(t *testing.T) {
	stranger, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	defer stranger.Close()
	e := start(t, quick())
	to := peer(t, func(conn *net.UDPConn, b []byte, from netip.AddrPort) {
		_, _ = stranger.WriteToUDPAddrPort(b, from)                                // right id, wrong sender
		_, _ = conn.WriteToUDPAddrPort(message(nil, 1<<30|77), from)               // right sender, wrong id
		_, _ = conn.WriteToUDPAddrPort([]byte{0x30, 0x83, 0xff, 0xff, 0xff}, from) // nothing at all
		_, _ = conn.WriteToUDPAddrPort(b, from)
	})
	d := &talk{}
	require.NoError(t, ask(t, e, to, d))
	require.EqualValues(t, 1, e.Stats().Stray)
	require.EqualValues(t, 2, e.Stats().Aside)
	require.EqualValues(t, 2, d.misfits.Load())
}

func TestCloseEndsEverything(t *testing.T) {
	e, err := engine.New(engine.Config{Timeout: time.Hour, Tries: 1, Window: 1, Silent: 1})
	require.NoError(t, err)
	to := peer(t, func(*net.UDPConn, []byte, netip.AddrPort) {})
	over := make(chan error, 3)
	for range 3 { // one under way, two waiting
		require.NoError(t, e.Ask(&engine.Question{To: to, Dialect: &talk{}, Done: func(_ *engine.Question, err error) { over <- err }}))
	}
	require.NoError(t, e.Close())
	for range 3 {
		require.ErrorIs(t, <-over, engine.ErrClosed)
	}
	require.ErrorIs(t, e.Ask(&engine.Question{To: to, Dialect: &talk{}}), engine.ErrClosed)
}

func TestCancelEndsAQuestionWhereverItIs(t *testing.T) {
	e := start(t, engine.Config{Timeout: time.Hour, Tries: 1, Window: 1, Silent: 1})
	to := peer(t, func(*net.UDPConn, []byte, netip.AddrPort) {})
	over := make(chan error, 3)
	var all [3]*engine.Question
	for i := range all { // one under way, two waiting
		all[i] = &engine.Question{To: to, Dialect: &talk{}, Done: func(_ *engine.Question, err error) { over <- err }}
		require.NoError(t, e.Ask(all[i]))
	}
	for _, i := range []int{1, 0, 2} {
		e.Cancel(all[i])
		require.ErrorIs(t, <-over, engine.ErrCancelled)
	}
	e.Cancel(all[0])
	require.ErrorIs(t, e.Ask(all[0]), engine.ErrCancelled, "cancelled before it was asked again")
	require.NoError(t, ask(t, e, peer(t, echo), &talk{}))
}

// TestManyAddresses: questions to hundreds of peers at once, each answered twice
// and in another order.
func TestManyAddresses(t *testing.T) {
	e := start(t, engine.Config{Timeout: 5 * time.Second, Tries: 2, Window: 300, Silent: 1})
	const peers, rounds = 20, 15
	over := make(chan error, peers*rounds)
	for range peers {
		var kept [][]byte
		to := peer(t, func(conn *net.UDPConn, b []byte, from netip.AddrPort) {
			if kept = append(kept, append([]byte(nil), b...)); len(kept) < rounds {
				return
			}
			for i := range kept {
				echo(conn, kept[len(kept)-1-i], from)
				echo(conn, kept[len(kept)-1-i], from)
			}
		})
		for range rounds {
			require.NoError(t, e.Ask(&engine.Question{To: to, Dialect: &talk{}, Done: func(_ *engine.Question, err error) { over <- err }}))
		}
	}
	for range peers * rounds {
		require.NoError(t, <-over)
	}
}

func TestSilentUnitsHaveAWindowOfTheirOwn(t *testing.T) {
	e := start(t, engine.Config{Timeout: time.Hour, Tries: 1, Window: 2, Silent: 1})
	dead := peer(t, func(*net.UDPConn, []byte, netip.AddrPort) {})
	for range 50 {
		require.NoError(t, e.Ask(&engine.Question{To: dead, Dialect: &talk{}, Silent: true, Done: func(*engine.Question, error) {}}))
	}
	require.NoError(t, ask(t, e, peer(t, echo), &talk{}))
}

func TestConfigRefused(t *testing.T) {
	for name, spoil := range map[string]func(*engine.Config){
		"timeout": func(c *engine.Config) { c.Timeout = 0 },
		"tries":   func(c *engine.Config) { c.Tries = 0 },
		"window":  func(c *engine.Config) { c.Window = 0 },
		"too big": func(c *engine.Config) { c.Window = engine.MaxWindow },
		"pace":    func(c *engine.Config) { c.Pace = -1 },
	} {
		t.Run(name, func(t *testing.T) {
			c := quick()
			spoil(&c)
			_, err := engine.New(c)
			require.Error(t, err)
		})
	}
}

// BenchmarkExchange is the engine's own cost and that of a peer in the same
// process, 256 questions under way.
func BenchmarkExchange(b *testing.B) {
	e := start(b, engine.Config{Timeout: time.Second, Tries: 3, Window: 256, Silent: 1})
	to := peer(b, echo)
	over := make(chan *engine.Question, 256)
	for range 256 {
		over <- &engine.Question{To: to, Dialect: &talk{}, Done: func(q *engine.Question, err error) {
			if err != nil {
				b.Error(err)
			}
			over <- q
		}}
	}
	b.ReportAllocs()
	for b.Loop() {
		_ = e.Ask(<-over)
	}
	for range 256 {
		<-over
	}
}
