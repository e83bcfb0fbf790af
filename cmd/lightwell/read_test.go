package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/cmd/exit"
	"lightwell/collector/snmp/snmpdtest"
)

const readConfig = `
fleet: [fleet.yaml]
snmp: {timeout: 300ms, retries: 1}
credentials:
  right: {version: "3", user: lightwell, auth: sha256, auth_password: {env: AUTH}, privacy: aes128, privacy_password: {env: PRIVACY}}
  wrong: {version: "3", user: lightwell, auth: sha256, auth_password: {env: WRONG}, privacy: aes128, privacy_password: {env: PRIVACY}}
  nobody: {version: "3", user: stranger, auth: sha256, auth_password: {env: AUTH}}
`

const readFleet = `
sites:
  - {id: quay, name: Quay, time_zone: UTC}
units:
  - {id: room, site: quay, role: indoor, model: rack-dual-supply, address: "%s", credentials: %s}
`

// TestRead reads a unit as on the day of installation: what is right is
// printed, what is wrong is named with what to try.
func TestRead(t *testing.T) {
	rack := func(end, value string) snmpdtest.Object {
		return snmpdtest.Object{OID: "1.3.6.1.4.1.32473.7.1." + end, Type: "integer", Value: value}
	}
	unit := snmpdtest.Start(t, snmpdtest.Options{
		Objects: []snmpdtest.Object{rack("2.1.0", "-321"), rack("3.1.0", "1"), rack("3.2.0", "2"), rack("4.1.0", "9999")},
		Users:   []snmpdtest.User{{Name: "lightwell", Auth: "SHA-256", AuthPassword: "correct horse", Privacy: "AES", PrivacyPassword: "battery staple"}},
	})
	t.Setenv("AUTH", "correct horse")
	t.Setenv("WRONG", "wrong horse")
	t.Setenv("PRIVACY", "battery staple")
	folder := t.TempDir()
	config := filepath.Join(folder, "lightwell.yaml")
	require.NoError(t, os.WriteFile(config, []byte(readConfig), 0o600))
	at := func(address, credentials string) {
		require.NoError(t, os.WriteFile(filepath.Join(folder, "fleet.yaml"), fmt.Appendf(nil, readFleet, address, credentials), 0o600))
	}

	at(unit.Addr, "right")
	out, _, err := typed(t.Context(), "read", "--config", config, "room")
	require.NoError(t, err)
	require.Regexp(t, `optical_receive_power +1\.3\.6\.1\.4\.1\.32473\.7\.1\.2\.1\.0 +-321 +-3\.21 +dBm +good +now`, out)
	require.Regexp(t, `supply_state/b +\S+ +2 +failed +- +good`, out)
	require.Regexp(t, `laser_bias +\S+ +missing +- +mA +unavailable`, out, "an object that is not there is not zero")
	require.Regexp(t, `temperature +\S+ +9999 +- +°C +out_of_range`, out)
	require.Contains(t, out, "which model rack-dual-supply does not recognise")

	out, _, err = typed(t.Context(), "read", "--config", config, "-o", "json", "room")
	require.NoError(t, err)
	var points []readPoint
	require.NoError(t, json.Unmarshal([]byte(out), &points))
	require.Len(t, points, 14)

	for _, tt := range []struct {
		name, address, credentials, unit, want, hint string
	}{
		{"wrong password", unit.Addr, "wrong", "room", "wrong digest", "password"},
		{"unknown user", unit.Addr, "nobody", "room", "unknown user", "user"},
		{"mistyped unit", unit.Addr, "right", "rom", `unit "rom" is not in the fleet`, `did you mean "room"`},
		{"nobody there", "127.0.0.1:9", "right", "room", "port closed", "161"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			at(tt.address, tt.credentials)
			_, _, err := typed(t.Context(), "read", "--config", config, tt.unit)
			require.ErrorContains(t, err, tt.want)
			var h exit.HintedError
			require.True(t, errors.As(err, &h))
			require.Contains(t, h.Hint, tt.hint)
			require.NotContains(t, err.Error()+h.Hint, "horse", "a password is repeated")
		})
	}
}
