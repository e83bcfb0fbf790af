package snmp_test

import (
	"net"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/snmp"
	wire "lightwell/collector/snmp/engine"
)

type outcome struct {
	readings []collector.Reading
	err      error
}

func submit(t *testing.T, cl *snmp.Client, u collector.Unit) outcome {
	t.Helper()
	over := make(chan outcome, 1)
	cl.Submit(u, func(rs []collector.Reading, err error) { over <- outcome{rs, err} })
	select {
	case o := <-over:
		return o
	case <-time.After(20 * time.Second):
		require.FailNow(t, "no end")
		return outcome{}
	}
}

func TestSubmitEndsAsProbeDoes(t *testing.T) {
	a := startAgent(t, func(b []byte) [][]byte { return [][]byte{ask(t, b).reply(nil)} })
	quiet := startAgent(t, func([]byte) [][]byte { return nil })
	cl := client(t, v2c(testCommunity), impatient)
	o := submit(t, cl, unitAt(a.addr))
	require.NoError(t, o.err)
	require.Equal(t, 0.07, reading(t, o.readings, "optical_receive_power").Value)
	for name, c := range map[string]struct {
		change func(*collector.Unit)
		cause  snmp.Cause
		kind   error
	}{
		"silent":                {func(u *collector.Unit) { u.Address = quiet.addr }, snmp.Silent, collector.ErrNoAnswer},
		"model not known":       {func(u *collector.Unit) { u.Equipment.Model = "other" }, snmp.NoModel, nil},
		"credentials not known": {func(u *collector.Unit) { u.Credentials = "other" }, snmp.NoCredentials, nil},
		"no such name":          {func(u *collector.Unit) { u.Address = "room-1.invalid:161" }, snmp.NameUnknown, nil},
	} {
		u := unitAt(a.addr)
		c.change(&u)
		o := submit(t, cl, u)
		require.Empty(t, o.readings, name)
		requireCause(t, o.err, c.cause, c.kind)
	}
	require.NoError(t, cl.Close())
	require.ErrorIs(t, submit(t, cl, unitAt(a.addr)).err, snmp.ErrClosed)
}

// TestManyAtOnce: more polls than the window holds, of one Client.
func TestManyAtOnce(t *testing.T) {
	a := startAgent(t, func(b []byte) [][]byte { r := ask(t, b).reply(nil); return [][]byte{r, r} })
	cl := client(t, v2c(testCommunity), func(c *snmp.Config) { c.Window, c.MaxObjects = 4, 5 })
	const polls = 200
	over := make(chan outcome, polls)
	for range polls {
		cl.Submit(unitAt(a.addr), func(rs []collector.Reading, err error) { over <- outcome{rs, err} })
	}
	for range polls {
		o := <-over
		require.NoError(t, o.err)
		require.Len(t, o.readings, 14)
		require.Equal(t, 1234.56, reading(t, o.readings, "uptime").Value)
	}
}

func TestNameIsResolvedAndKept(t *testing.T) {
	if _, err := net.LookupHost("localhost"); err != nil {
		t.Skipf("localhost has no address here: %v", err)
	}
	a := startAgent(t, func(b []byte) [][]byte { return [][]byte{ask(t, b).reply(nil)} })
	u := unitAt(strings.Replace(a.addr, "127.0.0.1", "localhost", 1))
	cl := client(t, v2c(testCommunity))
	for range 3 {
		_, err := cl.Probe(t.Context(), u)
		require.NoError(t, err)
		require.NoError(t, submit(t, cl, u).err)
	}
}

// TestLateAnswerToThePollBefore: it neither counts nor passes for a fault of
// the unit.
func TestLateAnswerToThePollBefore(t *testing.T) {
	for name, c := range map[string]struct{ version string }{"version 2c": {"2c"}, "version 3": {"3"}} {
		t.Run(name, func(t *testing.T) {
			var late []byte
			account := v2c(testCommunity)
			handle := func(b []byte) [][]byte {
				before := late
				late = ask(t, b).reply(func(p *gosnmp.SnmpPacket) { p.Variables[0].Value = 1111 })
				if before == nil {
					return nil
				}
				return [][]byte{before}
			}
			if c.version == "3" {
				account = v3("sha256", "aes128")
				e := newEngine(t)
				e.answer = func(_ *engine, _ *gosnmp.SnmpPacket, right []byte) [][]byte {
					before := late
					late = right
					if before == nil {
						return nil
					}
					return [][]byte{before}
				}
				handle = e.handle
			}
			a := startAgent(t, handle)
			cl := client(t, account, impatient, func(c *snmp.Config) { c.Retries = 0 })
			for range 4 {
				_, err := cl.Probe(t.Context(), unitAt(a.addr))
				require.ErrorIs(t, err, collector.ErrNoAnswer, "not: something answers, but not as asked")
			}
		})
	}
}

// TestDeadUnitComesBack: it is asked among the dead ones meanwhile, and all the
// same read at once when it answers.
func TestDeadUnitComesBack(t *testing.T) {
	var alive atomic.Bool
	a := startAgent(t, func(b []byte) [][]byte {
		if !alive.Load() {
			return nil
		}
		return [][]byte{ask(t, b).reply(nil)}
	})
	cl := client(t, v2c(testCommunity), impatient)
	for range 5 {
		_, err := cl.Probe(t.Context(), unitAt(a.addr))
		requireCause(t, err, snmp.Silent, collector.ErrNoAnswer)
	}
	require.EqualValues(t, 10, a.requests.Load())
	alive.Store(true)
	_, err := cl.Probe(t.Context(), unitAt(a.addr))
	require.NoError(t, err)
}

func TestStatsTellOfStrangers(t *testing.T) {
	stranger, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	defer stranger.Close()
	a := startAgentFrom(t, func(b []byte, from *net.UDPAddr) [][]byte {
		_, _ = stranger.WriteToUDP(ask(t, b).reply(nil), from)
		return [][]byte{[]byte("junk"), ask(t, b).reply(nil)}
	})
	cl := client(t, v2c(testCommunity))
	_, err = cl.Probe(t.Context(), unitAt(a.addr))
	require.NoError(t, err)
	want := wire.Stats{Sent: 1, Received: 3, Stray: 1, Aside: 1}
	require.Eventually(t, func() bool { return cl.Stats() == want }, 5*time.Second, time.Millisecond, "a batch is counted when it has gone")
}
