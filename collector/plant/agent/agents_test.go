package agent_test

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"net"
	"net/netip"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/plant"
	"lightwell/collector/plant/agent"
)

func portOf(t testing.TB, addr string) uint16 {
	t.Helper()
	at, err := netip.ParseAddrPort(addr)
	require.NoError(t, err)
	return at.Port()
}

// plain returns a client of version 2c.
func plain(t testing.TB, port uint16) *gosnmp.GoSNMP {
	t.Helper()
	return dial(t, port, func(g *gosnmp.GoSNMP, _ *gosnmp.UsmSecurityParameters) {
		g.Version, g.Community, g.SecurityParameters = gosnmp.Version2c, community, nil
	})
}

func TestSilent(t *testing.T) {
	source := rackUnit()
	client := plain(t, portOf(t, start(t, config(source, "nq-room")).Addr("nq-room")))
	client.Timeout, client.Retries = 50*time.Millisecond, 0
	source.set(func(b *bench) { b.silent = true })
	_, err := client.Get([]string{"1.3.6.1.2.1.1.5.0"})
	require.ErrorContains(t, err, "timeout")
	source.set(func(b *bench) { b.silent = false })
	client.Timeout = 2 * time.Second
	_, err = client.Get([]string{"1.3.6.1.2.1.1.5.0"})
	require.NoError(t, err)
}

// A reply holds 4096 octets; RFC 3416 sections 4.2.1 and 4.2.3.
func TestTooBig(t *testing.T) {
	source := rackUnit()
	var names []string
	source.set(func(b *bench) {
		for i := range 60 {
			b.objects = append(b.objects, plant.Object{OID: fmt.Sprintf("%s.3.%d", enterprise, i), Value: text(strings.Repeat("x", 100))})
			names = append(names, b.objects[len(b.objects)-1].OID)
		}
	})
	a := start(t, config(source, "nq-room"))
	port := portOf(t, a.Addr("nq-room"))
	for _, v3 := range []bool{false, true} {
		client := plain(t, port)
		if v3 {
			client = dial(t, port, nil)
		}
		reply, err := client.Get(names)
		require.NoError(t, err)
		require.Equal(t, gosnmp.TooBig, reply.Error)
		require.Empty(t, reply.Variables)

		reply, err = client.Get(names[:20])
		require.NoError(t, err)
		require.Len(t, reply.Variables, 20)

		reply, err = client.GetBulk([]string{enterprise + ".3"}, 0, 60)
		require.NoError(t, err)
		require.Equal(t, gosnmp.NoError, reply.Error)
		require.Greater(t, len(reply.Variables), 20)
		require.Less(t, len(reply.Variables), 40, "as many as fit")
	}
}

// The first variable alone is too much.
func TestTooBigForOne(t *testing.T) {
	source := rackUnit()
	source.set(func(b *bench) { b.objects[0].Value = text(strings.Repeat("x", 4100)) })
	client := plain(t, portOf(t, start(t, config(source, "nq-room")).Addr("nq-room")))
	for _, fixed := range []uint8{0, 1} {
		reply, err := client.GetBulk([]string{"1.3.6.1.2.1.1"}, fixed, 5)
		require.NoError(t, err)
		require.Equal(t, gosnmp.TooBig, reply.Error)
		require.Empty(t, reply.Variables)
	}
	client.Version = gosnmp.Version1
	reply, err := client.Get([]string{"1.3.6.1.2.1.1.1.0"})
	require.NoError(t, err)
	require.Equal(t, gosnmp.TooBig, reply.Error)
	require.Equal(t, ".1.3.6.1.2.1.1.1.0", reply.Variables[0].Name, "version 1 sends the names back")
}

// RFC 3416 section 4.2.1: noSuchInstance where the object exists with another
// instance, else noSuchObject.
func TestAbsent(t *testing.T) {
	client := plain(t, portOf(t, start(t, config(rackUnit(), "nq-room")).Addr("nq-room")))
	for name, want := range map[string]gosnmp.Asn1BER{
		"1.3.6.1.2.1.1.5.1":        gosnmp.NoSuchInstance,
		enterprise + ".2.1.119":    gosnmp.NoSuchInstance,
		enterprise + ".2.1.144":    gosnmp.NoSuchInstance,
		enterprise + ".1.5.0":      gosnmp.NoSuchInstance,
		"1.3.6.1.2.1.1.4.0":        gosnmp.NoSuchObject,
		"1.3.6.1.2.1.1.6.0":        gosnmp.NoSuchObject,
		enterprise + ".1.1.0.0":    gosnmp.NoSuchObject,
		enterprise + ".3.1.0":      gosnmp.NoSuchObject,
		"1.3.6.1.2.1.1.5.99.1.1.1": gosnmp.NoSuchObject,
		"0.0":                      gosnmp.NoSuchObject,
		"2.100.3":                  gosnmp.NoSuchObject,
	} {
		reply, err := client.Get([]string{name})
		require.NoError(t, err)
		require.Equal(t, want, reply.Variables[0].Type, name)
	}
}

// Walks by GETNEXT and GETBULK visit every name of a random tree once, in
// order.
func TestWalkRandomTree(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	source, names := &bench{}, map[string][]uint32{}
	for range 300 {
		ids := []uint32{1, 3, 6, 1, 4, 1}
		for range 1 + rng.IntN(6) {
			ids = append(ids, rng.Uint32()>>rng.IntN(32))
		}
		names["."+strings.Trim(strings.Join(strings.Fields(fmt.Sprint(ids)), "."), "[]")] = ids
	}
	for name := range names {
		source.objects = append(source.objects, plant.Object{OID: name[1:], Value: model.Value{Kind: model.Integer, Int: 7}})
	}
	want := slices.SortedFunc(maps.Keys(names), func(a, b string) int { return slices.Compare(names[a], names[b]) })
	client := plain(t, portOf(t, start(t, config(source, "nq-room")).Addr("nq-room")))
	for _, walk := range []func(string) ([]gosnmp.SnmpPDU, error){client.WalkAll, client.BulkWalkAll} {
		all, err := walk("1.3.6.1.4.1")
		require.NoError(t, err)
		got := make([]string, len(all))
		for i, v := range all {
			got[i] = v.Name
		}
		require.Equal(t, want, got)
	}
}

// In the manner of the example in RFC 3416 section 4.2.3: one non-repeater,
// two repeaters, past the end of the second.
func TestBulk(t *testing.T) {
	source := rackUnit()
	client := plain(t, portOf(t, start(t, config(source, "nq-room")).Addr("nq-room")))
	reply, err := client.GetBulk([]string{"1.3.6.1.2.1.1.4.0", enterprise + ".2.1.120", enterprise + ".2.1.142"}, 1, 3)
	require.NoError(t, err)
	var got []string
	for _, v := range reply.Variables {
		got = append(got, strings.TrimPrefix(v.Name, ".1.3.6.1.")+" "+v.Type.String())
	}
	require.Equal(t, []string{
		"2.1.1.5.0 OctetString",
		"4.1.32473.7.1.2.1.121 Integer", "4.1.32473.7.1.2.1.143 Integer",
		"4.1.32473.7.1.2.1.122 Integer", "4.1.32473.7.1.2.1.143 EndOfMibView",
		"4.1.32473.7.1.2.1.123 Integer", "4.1.32473.7.1.2.1.143 EndOfMibView",
	}, got)

	reply, err = client.GetBulk([]string{"1.3.6.1.2.1.1.4.0"}, 1, 3)
	require.NoError(t, err)
	require.Len(t, reply.Variables, 1, "no repeaters")
}

// Names are ordered by number, not as text, whatever order they come in; a
// malformed one is left out.
func TestOrder(t *testing.T) {
	source := &bench{}
	for _, name := range []string{"1.3.6.1.4.10", "1.3.6.1.4.9", "1.3.6.1.4.9.1", "1.3.6.1.4.16384", "1.3.6.1.4.16383", "1.3.6.1.4.4294967295", "1.3.6.nonsense", "7.1"} {
		source.objects = append(source.objects, plant.Object{OID: name, Value: model.Value{Kind: model.Integer, Int: 1}})
	}
	client := plain(t, portOf(t, start(t, config(source, "nq-room")).Addr("nq-room")))
	var got []string
	require.NoError(t, client.Walk("1.3.6.1", func(v gosnmp.SnmpPDU) error {
		got = append(got, v.Name)
		return nil
	}))
	require.Equal(t, []string{".1.3.6.1.4.9", ".1.3.6.1.4.9.1", ".1.3.6.1.4.10", ".1.3.6.1.4.16383", ".1.3.6.1.4.16384", ".1.3.6.1.4.4294967295"}, got)
}

// The integers of RFC 2578 at their limits, as gosnmp reads them.
func TestNumbers(t *testing.T) {
	source := rackUnit()
	client := plain(t, portOf(t, start(t, config(source, "nq-room")).Addr("nq-room")))
	for _, c := range []struct {
		value model.Value
		want  any
	}{
		{model.Value{Kind: model.Integer, Int: 0}, 0},
		{model.Value{Kind: model.Integer, Int: -1}, -1},
		{model.Value{Kind: model.Integer, Int: 127}, 127},
		{model.Value{Kind: model.Integer, Int: 128}, 128},
		{model.Value{Kind: model.Integer, Int: -128}, -128},
		{model.Value{Kind: model.Integer, Int: -129}, -129},
		{model.Value{Kind: model.Integer, Int: 2147483647}, 2147483647},
		{model.Value{Kind: model.Integer, Int: -2147483648}, -2147483648},
		{model.Value{Kind: model.Unsigned, Uint: 0}, uint(0)},
		{model.Value{Kind: model.Unsigned, Uint: 255}, uint(255)},
		{model.Value{Kind: model.Unsigned, Uint: 4294967295}, uint(4294967295)},
		{model.Value{Kind: model.Unsigned, Uint: 4294967296}, uint64(4294967296)},
		{model.Value{Kind: model.Unsigned, Uint: 1<<64 - 1}, uint64(1<<64 - 1)},
		{model.Value{Kind: model.Float, Float: 0.5}, float32(0.5)},
		{model.Value{Kind: model.Object, OID: "1.3.6.1.4.1.4294967295.300"}, ".1.3.6.1.4.1.4294967295.300"},
		{model.Value{Kind: model.Object, OID: "not a name"}, ".0.0"},
		{text(strings.Repeat("a", 127)), []byte(strings.Repeat("a", 127))},
		{text(strings.Repeat("a", 128)), []byte(strings.Repeat("a", 128))},
		{text(strings.Repeat("a", 300)), []byte(strings.Repeat("a", 300))},
	} {
		source.set(func(b *bench) { b.objects[4].Value = c.value })
		reply, err := client.Get([]string{enterprise + ".1.1.0"})
		require.NoError(t, err)
		require.Equal(t, c.want, reply.Variables[0].Value)
	}
}

func TestAddresses(t *testing.T) {
	c := config(rackUnit(), "a", "b", "c")
	a := start(t, c)
	require.NotEqual(t, a.Addr("a"), a.Addr("b"))
	require.Empty(t, a.Addr("unknown"))

	free, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 77, 1)})
	require.NoError(t, err)
	port := uint16(free.LocalAddr().(*net.UDPAddr).Port)
	c.Listen = netip.AddrPortFrom(netip.MustParseAddr("127.0.77.1"), port)
	_, err = agent.New(c, zap.NewNop())
	require.ErrorContains(t, err, `simulated agent of unit "a": listen udp`)
	require.NoError(t, free.Close())

	c.Listen = netip.MustParseAddrPort("127.0.79.1:20161")
	require.Equal(t, "127.0.79.1:20163", start(t, c).Addr("c"))

	c.Listen = netip.AddrPortFrom(netip.MustParseAddr("127.0.77.1"), port)
	c.OwnAddresses = true
	a = start(t, c)
	require.Equal(t, fmt.Sprintf("127.0.77.3:%d", port), a.Addr("c"))
	_, err = plain(t, port).Get([]string{"1.3.6.1.2.1.1.5.0"})
	require.Error(t, err, "nobody at 127.0.0.1")
}

func TestConfigValidate(t *testing.T) {
	require.NoError(t, config(rackUnit(), "a").Validate())
	c := config(nil, "a", "b")
	c.Listen = netip.AddrPortFrom(netip.MustParseAddr("127.0.0.1"), 65535)
	c.Users = append(c.Users, c.Users[0], agent.User{Name: "x", Auth: "crc", AuthPassword: collector.NewSecret(password)})
	err := c.Validate()
	for _, want := range []string{"no source", "need ports up to 65536", `user "open" stands there twice`, `unknown auth "crc"`} {
		require.ErrorContains(t, err, want)
	}
	c.Listen = netip.AddrPort{}
	require.ErrorContains(t, c.Validate(), "no address to listen at")
	_, err = agent.New(c, zap.NewNop())
	require.ErrorContains(t, err, "simulated agents: no source")
}

func TestThousandUnits(t *testing.T) {
	c := config(rackUnit())
	for i := range 1000 {
		c.Units = append(c.Units, fmt.Sprintf("unit-%d", i))
	}
	a := start(t, c)
	conn, err := net.ListenUDP("udp", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	defer conn.Close()
	require.NoError(t, conn.SetDeadline(time.Now().Add(20*time.Second)))
	reply := make([]byte, 1500)
	for _, unit := range c.Units {
		at := netip.MustParseAddrPort(a.Addr(unit))
		_, err := conn.WriteToUDPAddrPort(octets(t, "get"), at)
		require.NoError(t, err)
		_, from, err := conn.ReadFromUDPAddrPort(reply)
		require.NoError(t, err)
		require.Equal(t, at, from)
	}
	require.Eventually(t, func() bool { return a.Answered() == 1000 }, 10*time.Second, time.Millisecond)
}

func TestRunEnds(t *testing.T) {
	a, err := agent.New(config(rackUnit(), "a"), zap.NewNop())
	require.NoError(t, err)
	ctx, stop := context.WithCancel(t.Context())
	stop()
	require.NoError(t, a.Run(ctx))
	require.NoError(t, a.Close())

	a, err = agent.New(config(rackUnit(), "a"), zap.NewNop())
	require.NoError(t, err)
	require.NoError(t, a.Close())
	require.ErrorContains(t, a.Run(t.Context()), `read request to unit "a"`)
}
