package snmp_test

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/gosnmp/gosnmp"
	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"
	"go.uber.org/zap/zaptest/observer"

	"lightwell/collector"
	"lightwell/collector/snmp"
)

func TestReadTellsHowEachReadingCameAbout(t *testing.T) {
	a := startAgent(t, func(b []byte) [][]byte {
		q := ask(t, b)
		return [][]byte{q.reply(func(p *gosnmp.SnmpPacket) {
			for i, v := range p.Variables {
				switch v.Name {
				case ".1.3.6.1.4.1.32473.7.1.2.1.0":
					p.Variables[i].Value = -312
				case ".1.3.6.1.4.1.32473.7.1.4.1.0":
					p.Variables[i] = gosnmp.SnmpPDU{Name: v.Name, Type: gosnmp.NoSuchInstance}
				case ".1.3.6.1.4.1.32473.7.1.2.4.0":
					p.Variables[i] = gosnmp.SnmpPDU{Name: v.Name, Type: gosnmp.OctetString, Value: "n/a"}
				}
			}
		})}
	})
	details, err := client(t, v2c(testCommunity)).Read(t.Context(), unitAt(a.addr))
	require.NoError(t, err)
	byPoint := map[string]snmp.Detail{}
	for _, d := range details {
		require.Equal(t, "room-1", d.Unit)
		byPoint[d.Point.String()] = d
	}
	d := byPoint["optical_receive_power"]
	require.Equal(t, "1.3.6.1.4.1.32473.7.1.2.1.0", d.Object)
	require.Equal(t, "-312", d.Raw)
	require.Equal(t, -3.12, d.Value)
	require.Empty(t, d.Note)
	d = byPoint["temperature"]
	require.Equal(t, collector.Unavailable, d.Quality)
	require.Equal(t, "missing", d.Raw)
	require.Contains(t, d.Note, "no such instance")
	d = byPoint["laser_bias"]
	require.NotEqual(t, collector.Good, d.Quality)
	require.Equal(t, `"n/a"`, d.Raw)
	require.NotEmpty(t, d.Note)
}

func TestIdentifyWithoutModel(t *testing.T) {
	a := startAgent(t, func(b []byte) [][]byte {
		q := ask(t, b)
		return [][]byte{q.reply(func(p *gosnmp.SnmpPacket) {
			p.Variables[0] = gosnmp.SnmpPDU{Name: p.Variables[0].Name, Type: gosnmp.ObjectIdentifier, Value: ".1.3.6.1.4.1.32473.7.9"}
			p.Variables[1] = gosnmp.SnmpPDU{Name: p.Variables[1].Name, Type: gosnmp.NoSuchObject}
		})}
	})
	u := unitAt(a.addr)
	u.Equipment.Model = ""
	id, err := client(t, v2c(testCommunity)).Identify(t.Context(), u)
	require.NoError(t, err)
	require.Equal(t, snmp.Identity{ObjectID: "1.3.6.1.4.1.32473.7.9", Uptime: 1234560 * time.Millisecond}, id)
}

func TestUnitThatCannotBeAsked(t *testing.T) {
	cl := client(t, v2c(testCommunity), impatient)
	quiet := startAgent(t, func([]byte) [][]byte { return nil })
	tests := []struct {
		name   string
		change func(*collector.Unit)
		cause  snmp.Cause
		kind   error
	}{
		{"model not known", func(u *collector.Unit) { u.Equipment.Model = "other" }, snmp.NoModel, nil},
		{"credentials not known", func(u *collector.Unit) { u.Credentials = "other" }, snmp.NoCredentials, nil},
		{"address without port", func(u *collector.Unit) { u.Address = "192.0.2.1" }, snmp.AddressInvalid, nil},
		{"no such port", func(u *collector.Unit) { u.Address = "192.0.2.1:99999" }, snmp.AddressInvalid, nil},
		{"no such name", func(u *collector.Unit) { u.Address = "room-1.invalid:161" }, snmp.NameUnknown, nil},
		{"port closed", func(u *collector.Unit) { u.Address = "127.0.0.1:1" }, snmp.PortClosed, collector.ErrNoAnswer},
		{"silent", func(u *collector.Unit) { u.Address = quiet.addr }, snmp.Silent, collector.ErrNoAnswer},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			u := unitAt(quiet.addr)
			tt.change(&u)
			_, err := cl.Probe(t.Context(), u)
			requireCause(t, err, tt.cause, tt.kind)
			require.NotEmpty(t, snmp.Advice(err))
			require.NotContains(t, err.Error(), "\n")
		})
	}
	require.Empty(t, snmp.Advice(context.Canceled))
	require.EqualValues(t, 2, quiet.requests.Load(), "two tries")
}

func TestPortClosedIsSeenAtOnce(t *testing.T) {
	cl := client(t, v2c(testCommunity), func(c *snmp.Config) { c.Timeout = time.Minute })
	start := time.Now()
	_, err := cl.Probe(t.Context(), unitAt("127.0.0.1:1"))
	requireCause(t, err, snmp.PortClosed, collector.ErrNoAnswer)
	require.Less(t, time.Since(start), 5*time.Second)
}

func TestReadingEndsWithin100msOfItsContext(t *testing.T) {
	junk := startAgent(t, func(b []byte) [][]byte { return [][]byte{b, b} })
	asked := make(chan struct{}, 10)
	quiet := startAgent(t, func([]byte) [][]byte { asked <- struct{}{}; return nil })
	patient := func(c *snmp.Config) { c.Timeout = time.Minute }
	t.Run("cancelled", func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		var ended time.Time
		go func() { <-asked; ended = time.Now(); cancel() }()
		_, err := client(t, v2c(testCommunity), patient).Probe(ctx, unitAt(quiet.addr))
		require.ErrorIs(t, err, context.Canceled)
		require.NotErrorIs(t, err, collector.ErrNoAnswer)
		require.Less(t, time.Since(ended), 100*time.Millisecond)
	})
	t.Run("deadline, with junk coming", func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
		defer cancel()
		_, err := client(t, v2c(testCommunity), patient).Probe(ctx, unitAt(junk.addr))
		require.ErrorIs(t, err, context.DeadlineExceeded)
		end, _ := ctx.Deadline()
		require.Less(t, time.Since(end), 100*time.Millisecond)
	})
	t.Run("ended before", func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		cancel()
		_, err := client(t, v2c(testCommunity), patient).Probe(ctx, unitAt(quiet.addr))
		require.ErrorIs(t, err, context.Canceled)
	})
	t.Run("closed", func(t *testing.T) {
		cl := client(t, v2c(testCommunity), patient)
		go func() { <-asked; _ = cl.Close() }()
		_, err := cl.Probe(t.Context(), unitAt(quiet.addr))
		require.ErrorIs(t, err, snmp.ErrClosed)
		_, err = cl.Identify(t.Context(), unitAt(quiet.addr))
		require.ErrorIs(t, err, snmp.ErrClosed)
	})
}

// TestNothingPrintsASecret formats everything that could reach a log or a
// person in every way, and looks for the secrets and for their keys.
func TestNothingPrintsASecret(t *testing.T) {
	const community, auth, privacy = "Geheim-Eins", "Geheim-Zwei-auth", "Geheim-Drei-privacy"
	core, logs := observer.New(zapcore.DebugLevel)
	cfg := snmp.Default()
	cfg.Models, cfg.Timeout = models(t), 30*time.Millisecond
	cfg.Credentials = map[string]snmp.Credentials{"old": v2c(community), "new": {Version: snmp.Version3, User: "reader", Auth: "sha256", AuthPassword: collector.NewSecret(auth),
		Privacy: "aes128", PrivacyPassword: collector.NewSecret(privacy)}}
	cl, err := snmp.New(cfg, zap.New(core))
	require.NoError(t, err)
	defer cl.Close()
	echo := startAgent(t, func(b []byte) [][]byte { return [][]byte{b} })
	quiet := startAgent(t, func([]byte) [][]byte { return nil })
	bad := cfg
	bad.Credentials = map[string]snmp.Credentials{"bad": {Version: "4", Community: collector.NewSecret(community), Auth: "x", AuthPassword: collector.NewSecret(auth), PrivacyPassword: collector.NewSecret(privacy)},
		"worse": {Version: snmp.Version3, Community: collector.NewSecret(community), Auth: "x", AuthPassword: collector.NewSecret(auth), PrivacyPassword: collector.NewSecret(privacy)}}
	things := []any{cfg, &cfg, cl, bad.Validate()}
	for _, u := range []collector.Unit{unitAt(echo.addr), unitAt(quiet.addr), unitAt("127.0.0.1:1"), unitAt("nowhere")} {
		for _, name := range []string{"old", "new", "none"} {
			u.Credentials = name
			_, err := cl.Probe(t.Context(), u)
			require.Error(t, err)
			things = append(things, err, snmp.Advice(err))
		}
	}
	var text strings.Builder
	for _, thing := range things {
		fmt.Fprintf(&text, "%v\n%+v\n%#v\n%s\n", thing, thing, thing, thing)
	}
	require.NotZero(t, logs.Len())
	for _, entry := range logs.All() {
		fmt.Fprintf(&text, "%s %v\n", entry.Message, entry.ContextMap())
	}
	for _, secret := range []string{community, auth, privacy, fmt.Sprintf("%x", community), fmt.Sprint([]byte(community)), fmt.Sprintf("%#v", []byte(community))} {
		require.False(t, strings.Contains(text.String(), secret), "%q is in what was printed", secret)
	}
}
