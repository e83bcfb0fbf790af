package snmp_test

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/snmp"
	"lightwell/collector/snmp/snmpdtest"
)

// rackObjects is a healthy rack unit, but for supply b, which has failed, and
// the temperature, which the unit does not have.
var rackObjects = []snmpdtest.Object{
	{OID: "1.3.6.1.4.1.32473.7.1.2.1.0", Type: "integer", Value: "-312"},
	{OID: "1.3.6.1.4.1.32473.7.1.2.2.0", Type: "integer", Value: "350"},
	{OID: "1.3.6.1.4.1.32473.7.1.2.3.0", Type: "integer", Value: "1"},
	{OID: "1.3.6.1.4.1.32473.7.1.2.4.0", Type: "uinteger", Value: "2750"},
	{OID: "1.3.6.1.4.1.32473.7.1.2.5.0", Type: "integer", Value: "1"},
	{OID: "1.3.6.1.4.1.32473.7.1.3.1.0", Type: "integer", Value: "1"},
	{OID: "1.3.6.1.4.1.32473.7.1.3.2.0", Type: "integer", Value: "2"},
	{OID: "1.3.6.1.4.1.32473.7.1.3.3.0", Type: "integer", Value: "1201"},
	{OID: "1.3.6.1.4.1.32473.7.1.3.4.0", Type: "integer", Value: "3"},
	{OID: "1.3.6.1.4.1.32473.7.1.5.1.0", Type: "integer", Value: "-423"},
	{OID: "1.3.6.1.4.1.32473.7.1.5.2.0", Type: "integer", Value: "-205"},
	{OID: "1.3.6.1.4.1.32473.7.1.5.3.0", Type: "integer", Value: "26"},
	{OID: "1.3.6.1.2.1.1.1.0", Type: "octet_str", Value: "rack unit, two supplies"},
	{OID: "1.3.6.1.2.1.1.2.0", Type: "object_id", Value: ".1.3.6.1.4.1.32473.7.1"},
}

const (
	authPassword    = "correct horse auth"
	privacyPassword = "correct horse privacy"
)

func v3(auth, privacy string) snmp.Credentials {
	c := snmp.Credentials{Version: snmp.Version3, User: "reader", Auth: auth, Privacy: privacy}
	if auth != "" {
		c.AuthPassword = collector.NewSecret(authPassword)
	}
	if privacy != "" {
		c.PrivacyPassword = collector.NewSecret(privacyPassword)
	}
	return c
}

func requireRack(t *testing.T, rs []collector.Reading) {
	t.Helper()
	require.Len(t, rs, 14)
	values := map[string]float64{"optical_receive_power": -3.12, "optical_transmit_power": 3.5, "laser_bias": 27.5, "supply_voltage/a": 12.01, "rf_input_level": -42.3, "agc_attenuation": 6.5}
	for point, want := range values {
		r := reading(t, rs, point)
		require.Equal(t, collector.Good, r.Quality, point)
		require.InDelta(t, want, r.Value, 1e-9, point)
		require.WithinDuration(t, time.Now(), r.Taken, time.Minute)
		require.Equal(t, time.UTC, r.Taken.Location())
	}
	require.Equal(t, collector.StateGood, reading(t, rs, "supply_state/a").State())
	require.Equal(t, collector.StateFailed, reading(t, rs, "supply_state/b").State())
	missing := reading(t, rs, "temperature")
	require.Equal(t, collector.Unavailable, missing.Quality)
	require.Zero(t, missing.Value)
}

// A user for each protocol, as snmpd names them. Its AES192 and AES256 extend
// keys by the blumenthal draft, its AES192C and AES256C by the reeder draft.
var snmpdUsers = []struct{ auth, privacy, daemonAuth, daemonPrivacy string }{
	{"", "", "", ""},
	{"md5", "", "MD5", ""},
	{"sha1", "aes128", "SHA", "AES"},
	{"sha224", "aes128", "SHA-224", "AES"},
	{"sha256", "aes128", "SHA-256", "AES"},
	{"sha384", "aes128", "SHA-384", "AES"},
	{"sha512", "aes256-blumenthal", "SHA-512", "AES256"},
	{"sha1", "aes192-blumenthal", "SHA", "AES192"},
	{"sha1", "aes256-blumenthal", "SHA", "AES256"},
	{"md5", "aes256-blumenthal", "MD5", "AES256"},
	{"sha1", "aes192-reeder", "SHA", "AES192C"},
	{"sha1", "aes256-reeder", "SHA", "AES256C"},
}

func TestSnmpdIsReadInEveryVersionAndProtocol(t *testing.T) {
	options := snmpdtest.Options{Objects: rackObjects}
	credentials := map[string]snmp.Credentials{
		"v1": {Version: snmp.Version1, Community: collector.NewSecret(snmpdtest.Community)}, "v2c": v2c(snmpdtest.Community)}
	for _, p := range snmpdUsers {
		c := v3(p.auth, p.privacy)
		c.User = "reader" + p.auth + p.privacy
		credentials["v3 "+p.auth+" "+p.privacy] = c
		u := snmpdtest.User{Name: c.User, Auth: p.daemonAuth, Privacy: p.daemonPrivacy, AuthPassword: c.AuthPassword.Reveal(), PrivacyPassword: c.PrivacyPassword.Reveal()}
		if p.auth == "" {
			u.AuthPassword = ""
		}
		options.Users = append(options.Users, u)
	}
	agent := snmpdtest.Start(t, options)
	cl := client(t, v2c("unused"), func(cfg *snmp.Config) { cfg.Credentials, cfg.Timeout = credentials, 2*time.Second })
	for name := range credentials {
		t.Run(name, func(t *testing.T) {
			u := unitAt(agent.Addr)
			u.Credentials = name
			rs, err := cl.Probe(t.Context(), u)
			require.NoError(t, err)
			requireRack(t, rs)
			rs, err = cl.Probe(t.Context(), u) // with the session state kept
			require.NoError(t, err)
			requireRack(t, rs)
			id, err := cl.Identify(t.Context(), u)
			require.NoError(t, err)
			require.Equal(t, "1.3.6.1.4.1.32473.7.1", id.ObjectID)
			require.Equal(t, "rack unit, two supplies", id.Description)
			require.NotZero(t, id.Uptime)
		})
	}
}

func TestSnmpdRefusesClearly(t *testing.T) {
	agent := snmpdtest.Start(t, snmpdtest.Options{Objects: rackObjects, Users: []snmpdtest.User{
		{Name: "reader", Auth: "SHA-256", AuthPassword: authPassword, Privacy: "AES", PrivacyPassword: privacyPassword},
		{Name: "signer", Auth: "SHA-256", AuthPassword: authPassword},
	}})
	tests := []struct {
		name   string
		change func(*snmp.Credentials)
		cause  snmp.Cause
		kind   error
		advice string
	}{
		{"wrong user", func(c *snmp.Credentials) { c.User = "nobody" }, snmp.UserUnknown, collector.ErrRefused, "user name"},
		{"wrong password", func(c *snmp.Credentials) { c.AuthPassword = collector.NewSecret("wrong password") }, snmp.DigestRefused, collector.ErrRefused, "authentication password"},
		{"wrong protocol", func(c *snmp.Credentials) { c.Auth = "sha512" }, snmp.DigestRefused, collector.ErrRefused, "authentication protocol"},
		{"privacy not set up", func(c *snmp.Credentials) { c.User = "signer" }, snmp.LevelRefused, collector.ErrRefused, "security level"},
		{"wrong privacy password", func(c *snmp.Credentials) { c.PrivacyPassword = collector.NewSecret("wrong password") }, snmp.SilentToUser, collector.ErrNoAnswer, "privacy password"},
		{"level too low", func(c *snmp.Credentials) { c.Privacy, c.PrivacyPassword = "", collector.Secret{} }, snmp.NotAuthorised, collector.ErrRefused, "access"},
		{"unknown context", func(c *snmp.Credentials) { c.Context = "elsewhere" }, snmp.SilentToUser, collector.ErrNoAnswer, "context"},
		{"wrong community", func(c *snmp.Credentials) { *c = v2c("wrong-community") }, snmp.Silent, collector.ErrNoAnswer, "wrong community"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			c := v3("sha256", "aes128")
			tt.change(&c)
			_, err := client(t, c, func(c *snmp.Config) { c.Timeout = 300 * time.Millisecond }).Probe(t.Context(), unitAt(agent.Addr))
			requireCause(t, err, tt.cause, tt.kind)
			require.Contains(t, snmp.Advice(err), tt.advice)
			require.ErrorContains(t, err, "room-1")
			require.ErrorContains(t, err, agent.Addr)
		})
	}
}

func requireCause(t *testing.T, err error, cause snmp.Cause, kind error) {
	t.Helper()
	require.Error(t, err)
	var e *snmp.Error
	require.ErrorAs(t, err, &e)
	require.Equal(t, cause, e.Cause, "%v", err)
	for _, k := range []error{collector.ErrNoAnswer, collector.ErrRefused, collector.ErrMalformed} {
		if k == kind {
			require.ErrorIs(t, err, k)
		} else {
			require.NotErrorIs(t, err, k)
		}
	}
}

func TestSnmpdRestartsAndStops(t *testing.T) {
	agent := snmpdtest.Start(t, snmpdtest.Options{Objects: rackObjects, Users: []snmpdtest.User{
		{Name: "reader", Auth: "SHA-256", AuthPassword: authPassword, Privacy: "AES", PrivacyPassword: privacyPassword}}})
	cl := client(t, v3("sha256", "aes128"), func(c *snmp.Config) { c.Timeout = time.Second })
	u := unitAt(agent.Addr)
	for range 3 {
		rs, err := cl.Probe(t.Context(), u)
		require.NoError(t, err)
		requireRack(t, rs)
		agent.Restart() // boots counts up: our notion of its clock is wrong now
	}
	agent.Stop()
	_, err := cl.Probe(t.Context(), u)
	requireCause(t, err, snmp.PortClosed, collector.ErrNoAnswer)
	agent.Restart()
	ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second)
	defer cancel()
	rs, err := cl.Probe(ctx, u)
	require.NoError(t, err)
	requireRack(t, rs)
}
