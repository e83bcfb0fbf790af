package snmpdtest_test

import (
	"net"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/snmp/snmpdtest"
)

func TestAgentLivesAndDies(t *testing.T) {
	a := snmpdtest.Start(t, snmpdtest.Options{Objects: []snmpdtest.Object{{"1.3.6.1.4.1.32473.7.1.1.0", "integer", "5"}}})
	addr := a.Addr
	a.Restart()
	require.Equal(t, addr, a.Addr)
	a.Stop()
	a.Stop() // a second time does nothing
	c, err := net.ListenPacket("udp4", addr)
	require.NoError(t, err, "the port is free again")
	require.NoError(t, c.Close())
}
