package snmp_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/snmp"
)

func TestValidateTellsAllFaultsAtOnce(t *testing.T) {
	good, short := collector.NewSecret("long enough"), collector.NewSecret("seven77")
	cfg := snmp.Config{Timeout: -1, Retries: -1, MaxObjects: 61, Credentials: map[string]snmp.Credentials{
		"a-version":  {Version: "2", Community: good},
		"b-bare":     {Version: snmp.Version2c},
		"c-mixed":    {Version: snmp.Version1, Community: good, User: "u"},
		"d-user":     {Version: snmp.Version3, Community: good},
		"e-protocol": {Version: snmp.Version3, User: "u", Auth: "sha", AuthPassword: good, Privacy: "aes256", PrivacyPassword: good},
		"f-short":    {Version: snmp.Version3, User: "u", Auth: "sha256", AuthPassword: short, Privacy: "aes128", PrivacyPassword: short},
		"g-no-auth":  {Version: snmp.Version3, User: "u", Privacy: "aes128", PrivacyPassword: good},
		"h-unnamed":  {Version: snmp.Version3, User: "u", AuthPassword: good, PrivacyPassword: good},
		"i-long":     {Version: snmp.Version3, User: "123456789012345678901234567890123"},
	}}
	err := cfg.Validate()
	require.Error(t, err)
	for _, want := range []string{
		"models: none", "timeout -1ns", "retries -1", "request 61: use 1 to 60",
		`"a-version": version "2" is not known: use 1, 2c or 3`,
		`"b-bare": version 2c needs a community`,
		`"c-mixed": user, auth, privacy and context belong to version 3`,
		`"d-user": community belongs to versions 1 and 2c`, `"d-user": version 3 needs a user`,
		`"e-protocol": auth "sha" is not known: use one of md5, sha1, sha224`, `"e-protocol": privacy "aes256" is not known: use one of aes128, aes192-blumenthal`,
		`"f-short": auth password is shorter than 8`, `"f-short": privacy password is shorter than 8`,
		`"g-no-auth": privacy without auth`,
		`"h-unnamed": auth password without auth`, `"h-unnamed": privacy password without privacy`,
		`"i-long": user has more than 32`,
	} {
		require.ErrorContains(t, err, want)
	}
	_, err = snmp.New(cfg, zap.NewNop())
	require.ErrorContains(t, err, "SNMP client")
}

func TestWeakProtocolsWorkWhenNamed(t *testing.T) {
	pw := collector.NewSecret("long enough")
	cfg := snmp.Default()
	cfg.Models = models(t)
	cfg.Credentials = map[string]snmp.Credentials{
		"md5":  {Version: snmp.Version3, User: "u", Auth: "md5", AuthPassword: pw},
		"sha1": {Version: snmp.Version3, User: "u", Auth: "sha1", AuthPassword: pw, Privacy: "aes256-reeder", PrivacyPassword: pw},
		"none": {Version: snmp.Version3, User: "u"},
		"old":  {Version: snmp.Version1, Community: pw},
	}
	require.NoError(t, cfg.Validate())
	require.LessOrEqual(t, cfg.MaxObjects, snmp.MaxObjects)
	require.Less(t, cfg.Timeout*time.Duration(cfg.Retries+1), 10*time.Second)
}
