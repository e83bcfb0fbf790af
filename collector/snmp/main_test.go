package snmp_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"go.uber.org/zap/zaptest"

	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/snmp"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

const rack = "rack-dual-supply"

func models(t testing.TB) *model.Set {
	t.Helper()
	set, err := model.Builtin()
	require.NoError(t, err)
	return set
}

// client returns a client with one set of credentials, named "c".
func client(t testing.TB, c snmp.Credentials, change ...func(*snmp.Config)) *snmp.Client {
	t.Helper()
	cfg := snmp.Default()
	cfg.Models = models(t)
	cfg.Credentials = map[string]snmp.Credentials{"c": c}
	cfg.Timeout, cfg.Retries = time.Second, 1
	for _, f := range change {
		f(&cfg)
	}
	cl, err := snmp.New(cfg, zaptest.NewLogger(t))
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, cl.Close()) })
	return cl
}

// impatient is for tests in which nothing that counts will come.
func impatient(c *snmp.Config) { c.Timeout = 40 * time.Millisecond }

// persistent is for tests in which both happens.
func persistent(c *snmp.Config) { c.Timeout, c.Retries = 50*time.Millisecond, 5 }

func v2c(community string) snmp.Credentials {
	return snmp.Credentials{Version: snmp.Version2c, Community: collector.NewSecret(community)}
}

func unitAt(address string) collector.Unit {
	return collector.Unit{ID: "room-1", Address: address, Credentials: "c", Equipment: collector.Equipment{Model: rack}}
}

// reading returns the one reading of a point.
func reading(t testing.TB, rs []collector.Reading, point string) collector.Reading {
	t.Helper()
	for _, r := range rs {
		if r.Point.String() == point {
			return r
		}
	}
	require.FailNow(t, "no reading", "point %s", point)
	return collector.Reading{}
}
