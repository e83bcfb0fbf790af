package config_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/cmd/lightwell/config"
	"lightwell/collector/history/remote"
)

func loadText(t *testing.T, text string) (config.Config, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "lightwell.yaml")
	require.NoError(t, os.WriteFile(path, []byte("fleet: [fleet.yaml]\n"+text), 0o600))
	return config.Load(path, getenv)
}

func TestHistoryKeys(t *testing.T) {
	const day = 24 * time.Hour
	cfg, err := loadText(t, "")
	require.NoError(t, err)
	require.Equal(t, 35*day, cfg.History.Local.RawAge)
	require.Equal(t, 3*365*day, cfg.History.Local.HourlyAge)
	require.Empty(t, cfg.History.Send)
	require.Nil(t, cfg.History.Read)

	cfg, err = loadText(t, `
history:
  raw: 90d
  hourly: 10y
  raw_size: 20GB
  hourly_size: 512 MB
  disk_stop: 0.8
  read: {url: "https://metrics.example", token: {env: TOKEN}}
remote_write:
  - {name: centre, url: "https://metrics.example/api/v1/write", protocol: "2.0", user: lightwell, password: {env: AUTH}, size: 2GB}
  - {name: near, url: "http://127.0.0.1:9090/api/v1/write"}
`)
	require.NoError(t, err)
	local := cfg.History.Local
	require.Equal(t, 90*day, local.RawAge)
	require.Equal(t, 3650*day, local.HourlyAge)
	require.EqualValues(t, 20e9, local.RawSize)
	require.EqualValues(t, 512e6, local.HourlySize)
	require.Equal(t, 0.8, local.DiskStop)
	require.Equal(t, environment["TOKEN"], cfg.History.Read.Token.Reveal())
	require.Len(t, cfg.History.Send, 2)
	require.Equal(t, remote.Protocol2, cfg.History.Send[0].Protocol)
	require.Equal(t, environment["AUTH"], cfg.History.Send[0].Password.Reveal())
	require.EqualValues(t, 2e9, cfg.History.Send[0].MaxBytes)
	require.Equal(t, remote.Protocol1, cfg.History.Send[1].Protocol)
}

func TestHistoryFaults(t *testing.T) {
	for text, want := range map[string]string{
		"history: {raw: soon}":                                        `:2:16: history.raw: "soon" is not a span of time; write a number with its unit, like 35d, 3y or 12h`,
		"history: {raw: 1h}":                                          "raw 1h0m0s is shorter than 24h0m0s",
		"history: {raw: 99999999d}":                                   "is not a span of time",
		"history: {hourly: 2d}":                                       "is shorter than raw",
		"history: {raw_size: lots}":                                   `"lots" is not a size; write a whole number with MB, GB or TB, like 20GB`,
		"history: {raw_size: 1MB}":                                    "is below",
		"history: {disk_stop: 2}":                                     "disk stop 2 is not between 0 and 1",
		"history: {read: {url: 'http://metrics.example'}}":            "use https, or set insecure",
		"remote_write: [{name: A, url: 'https://metrics.example/w'}]": `name "A": use lower-case letters`,
		"remote_write: [{name: a, url: 'https://metrics.example/w', protocol: '3.0'}]": `protocol "3.0"`,
		"remote_write: [{name: a}]": "url: use an address such as",
		"remote_write: [{name: a, url: 'https://m.example/w', url_secret: {env: CHAT}}]":                   "url and url_secret are both given",
		"remote_write: [{name: a, url: 'https://m.example/w', token: {env: NOBODY}}]":                      "NOBODY is empty or not set",
		"remote_write: [{name: a, url: 'https://m.example/w'}, {name: a, url: 'https://m.example/other'}]": `remote write "a" is there twice`,
	} {
		_, err := loadText(t, text)
		require.ErrorContains(t, err, want, text)
	}
}
