package daemon_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/cmd/lightwell/config"
	"lightwell/collector"
	"lightwell/collector/snmp"
	"lightwell/collector/snmp/snmpdtest"
)

// rackObjects are the objects of a healthy unit of model rack-dual-supply.
var rackObjects = []snmpdtest.Object{
	rackObject("2.1.0", "-321"), rackObject("2.2.0", "402"), rackObject("2.3.0", "1"), rackObject("2.4.0", "2310"), rackObject("2.5.0", "1"),
	rackObject("3.1.0", "1"), rackObject("3.2.0", "1"), rackObject("3.3.0", "1203"), rackObject("3.4.0", "1198"),
	rackObject("4.1.0", "312"), rackObject("5.1.0", "-305"), rackObject("5.2.0", "-121"), rackObject("5.3.0", "12"),
}

func rackObject(end, value string) snmpdtest.Object {
	return snmpdtest.Object{OID: "1.3.6.1.4.1.32473.7.1." + end, Type: "integer", Value: value}
}

const snmpdFleet = `
sites:
  - {id: quay, name: Quay, time_zone: UTC}
units:
  - {id: modern, site: quay, role: indoor, model: rack-dual-supply, address: "%s", credentials: v3, poll: "@every 300ms"}
  - {id: older, site: quay, role: indoor, model: rack-dual-supply, address: "%s", credentials: v2c, poll: "@every 300ms"}
  - {id: mistyped, site: quay, role: indoor, model: rack-dual-supply, address: "%s", credentials: wrong-password, poll: "@every 300ms"}
`

var snmpdUser = snmpdtest.User{Name: "lightwell", Auth: "SHA-256", AuthPassword: "correct horse", Privacy: "AES", PrivacyPassword: "battery staple"}

func snmpdCredentials(cfg *config.Config) {
	v3 := snmp.Credentials{Version: "3", User: snmpdUser.Name, Auth: "sha256", AuthPassword: collector.NewSecret(snmpdUser.AuthPassword), Privacy: "aes128", PrivacyPassword: collector.NewSecret(snmpdUser.PrivacyPassword)}
	wrong := v3
	wrong.AuthPassword = collector.NewSecret("wrong horse entirely")
	cfg.Credentials = map[string]snmp.Credentials{"v3": v3, "v2c": {Version: "2c", Community: collector.NewSecret(snmpdtest.Community)}, "wrong-password": wrong}
}

// TestAgainstSnmpd runs the whole daemon against agents that we did not
// write: from the fleet file to a signed webhook.
func TestAgainstSnmpd(t *testing.T) {
	t.Parallel()
	options := snmpdtest.Options{Objects: rackObjects, Users: []snmpdtest.User{snmpdUser}}
	modern, older, mistyped := snmpdtest.Start(t, options), snmpdtest.Start(t, options), snmpdtest.Start(t, options)
	b := newBench(t, fmt.Sprintf(snmpdFleet, modern.Addr, older.Addr, mistyped.Addr), snmpdCredentials)
	b.start()

	b.saw("raised major credentials-refused unit/mistyped")
	b.commission("modern", "older")
	page := b.get("/metrics", nil)
	for _, line := range []string{
		`lightwell_optical_receive_power_dbm{port="",site="quay",unit="modern"} -3.21`,
		`lightwell_optical_receive_power_dbm{port="",site="quay",unit="older"} -3.21`,
		`lightwell_unit_up{site="quay",unit="mistyped"} 0`,
	} {
		require.Contains(t, page, line)
	}
	require.NotContains(t, page, `lightwell_optical_receive_power_dbm{port="",site="quay",unit="mistyped"}`, "no answer, no reading")

	older.Stop()
	b.saw("raised major unit-unreachable unit/older")
	older.Restart()
	b.saw("cleared major unit-unreachable unit/older")
	modern.Restart()
	b.eventually("the restart is an event", func() bool { return strings.Contains(b.get("/api/v1/events", nil), `"resource":"unit/modern"`) })
	b.eventually("a restarted agent of version 3 is found again", func() bool {
		return strings.Contains(b.get("/metrics", nil), `lightwell_unit_up{site="quay",unit="modern"} 1`)
	})
	for _, event := range b.webhooks() {
		require.NotContains(t, event, "modern", "a restart is no alarm")
	}

	b.stop()
	for _, secret := range []string{"wrong horse", snmpdUser.AuthPassword, snmpdUser.PrivacyPassword, snmpdtest.Community, "whsec_"} {
		require.NotContains(t, b.log.String(), secret, "a secret in the log")
	}
}
