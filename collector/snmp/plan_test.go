package snmp_test

import (
	"testing"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"

	"lightwell/collector"
)

// TestFittedPoints: a unit whose fleet file says that one of two supplies is
// fitted has no readings of the other.
func TestFittedPoints(t *testing.T) {
	a := startAgent(t, func(b []byte) [][]byte {
		return [][]byte{ask(t, b).reply(func(*gosnmp.SnmpPacket) {})}
	})
	u := unitAt(a.addr)
	u.Equipment.Points = []collector.Point{{Quantity: collector.SupplyState, Port: "a"}, {Quantity: collector.Uptime}}
	readings, err := client(t, v2c(testCommunity)).Probe(t.Context(), u)
	require.NoError(t, err)
	var points []collector.Point
	for _, r := range readings {
		points = append(points, r.Point)
	}
	require.ElementsMatch(t, u.Equipment.Points, points)
	details, err := client(t, v2c(testCommunity)).Read(t.Context(), u)
	require.NoError(t, err)
	require.Len(t, details, 2)
}
