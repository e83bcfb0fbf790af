package inventory_test

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/inventory"
)

func good(t testing.TB) string {
	t.Helper()
	data, err := os.ReadFile("testdata/good.yaml")
	require.NoError(t, err)
	return string(data)
}

func parse(t testing.TB, text string) *collector.Fleet {
	t.Helper()
	f, err := inventory.Parse("fleet.yaml", []byte(text), options(t))
	require.NoError(t, err)
	return f
}

func TestCompare(t *testing.T) {
	text := good(t)
	old := parse(t, text)
	require.True(t, inventory.Compare(old, parse(t, text)).Empty())
	require.Equal(t, "nothing changed", inventory.Compare(old, parse(t, text)).String())

	for _, tt := range []struct {
		name    string
		replace []string // old, new, ...
		want    string
	}{
		{"poll of a site", []string{"*/5 * * * *", "*/4 * * * *"}, "units: 2 changed (tn-roof, tn-room)"},
		{"time zone", []string{"time_zone: Europe/Lisbon\n", "time_zone: Europe/Madrid\n"}, "sites: 1 changed (north-quay); planned work: 1 changed (lift)"},
		{"address", []string{"192.0.2.11", "192.0.2.12"}, "units: 2 changed (nq-roof, nq-room)"},
		{"model", []string{"model: compact-single-supply", "model: module-diagnostics"}, "units: 1 changed (nq-hall)"},
		{"cable", []string{"length_m: 2200", "length_m: 2300"}, "cables: 1 changed (tn-tray)"},
		{"rf", []string{"carrier_dbw: -155", "carrier_dbw: -156"}, "links: 1 changed (nq)"},
		{"link renamed", []string{"- id: nq\n", "- id: nq0\n", "link/nq]", "link/nq0]"}, "links: 1 added (nq0), 1 removed (nq); planned work: 1 changed (lift)"},
		{"severity", []string{"severity: critical", "severity: minor"}, "severities: 1 changed (supply-redundancy-lost@site/tunnel)"},
		{"severity of a unit", []string{"lost, site: tunnel", "lost, unit: tn-room"}, "severities: 1 added (supply-redundancy-lost@unit/tn-room), 1 removed (supply-redundancy-lost@site/tunnel)"},
		{"work", []string{"duration: 4h", "duration: 5h"}, "planned work: 1 changed (night)"},
		{"a comment", []string{"sites:", "# all of them\nsites:"}, "nothing changed"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			changed := strings.NewReplacer(tt.replace...).Replace(text)
			require.NotEqual(t, text, changed)
			d := inventory.Compare(old, parse(t, changed))
			require.Equal(t, tt.want, d.String())
			require.Equal(t, tt.want == "nothing changed", d.Empty())
		})
	}
}

func TestChangesString(t *testing.T) {
	c := inventory.Changes{Added: []string{"a", "b", "c", "d", "e", "f", "g"}, Removed: []string{"x"}}
	require.Equal(t, "7 added (a, b, c, d, e, ...), 1 removed (x)", c.String())
}
