package inventory_test

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/document"
	"lightwell/collector/inventory"
	"lightwell/collector/model"
)

var update = flag.Bool("update", false, "rewrite the golden files")

func options(t testing.TB) inventory.Options {
	t.Helper()
	models, err := model.Builtin()
	require.NoError(t, err)
	return inventory.Options{
		Models:      models,
		Credentials: []string{"fleet-v3", "old-v2c"},
		AlarmTypes:  []string{"supply-failed", "supply-redundancy-lost"},
	}
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

func TestLoad(t *testing.T) {
	f, err := inventory.Load([]string{"testdata/good.yaml"}, options(t))
	require.NoError(t, err)
	lisbon, err := time.LoadLocation("Europe/Lisbon")
	require.NoError(t, err)

	site, ok := f.Site("north-quay")
	require.True(t, ok)
	require.Equal(t, collector.Site{ID: "north-quay", Name: "North Quay operations room", Address: "Quay 7", Access: "Keys at the gatehouse; roof permit a day ahead", Location: lisbon}, site)
	tunnel, _ := f.Site("tunnel")
	require.Equal(t, time.UTC, tunnel.Location)
	require.Equal(t, "tunnel", tunnel.Name)

	for _, tt := range []struct{ id, name, address, via, credentials, poll string }{
		{"nq-roof", "nq-roof", "192.0.2.11:161", "nq-room", "fleet-v3", "@every 30s"},
		{"nq-room", "nq-room", "192.0.2.11:161", "", "fleet-v3", "@every 30s"},
		{"nq-hall", "Hall", "agent.example.net:1161", "", "fleet-v3", "@every 20s"},
		{"tn-room", "tn-room", "[2001:db8::7]:161", "", "old-v2c", "*/5 * * * *"},
	} {
		u, ok := f.Unit(tt.id)
		require.True(t, ok)
		require.Equal(t, tt, struct{ id, name, address, via, credentials, poll string }{u.ID, u.Name, u.Address, u.Via, u.Credentials, u.Poll})
	}
	room, _ := f.Unit("nq-room")
	m, _ := options(t).Models.Model("rack-dual-supply")
	require.Equal(t, m.Equipment, room.Equipment)
	require.Equal(t, -12.0, *room.Equipment.Limits.ReceivePowerMinDBm)

	single, _ := f.Unit("tn-room")
	require.Equal(t, 1, single.Equipment.Supplies)
	require.Len(t, single.Equipment.Points, len(m.Equipment.Points)-2)
	require.NotContains(t, single.Equipment.Points, collector.Point{Quantity: collector.SupplyState, Port: "b"})

	link, ok := f.Link("nq")
	require.True(t, ok)
	require.Equal(t, collector.Link{
		ID: "nq", Name: "nq", Outdoor: "nq-roof", Indoor: "nq-room", Use: collector.Repeater, Services: []string{"l-band-mss", "gps-l1", "glonass-l1"},
		Downlink: collector.Path{Cable: "nq-riser", Strand: 1, WavelengthNM: 1550, Connectors: 4, Splices: 2},
		Uplink:   collector.Path{Cable: "nq-riser", Strand: 2, WavelengthNM: 1310, Connectors: 4, Splices: 2},
		RF:       &collector.RF{GainBeforeLaserDB: 30, NoiseFigureBeforeLaserDB: 1.5, AntennaNoiseK: 130, CarrierDBW: -155, CN0MinDBHz: 37},
	}, link)
	modem, _ := f.Link("nq2")
	require.Equal(t, collector.DirectFeed, modem.Use)
	require.Nil(t, modem.RF)

	require.Equal(t, []collector.SeverityRule{{Type: "supply-redundancy-lost", Severity: "major"}, {Type: "supply-redundancy-lost", Site: "tunnel", Severity: "critical"}}, f.Severities)
	require.Len(t, f.PlannedWork, 3)
	require.Equal(t, collector.PlannedWork{ID: "lift", Resources: []string{"unit/nq-roof", "link/nq"}, Start: "2026-03-01T22:00:00Z", Duration: 90 * time.Minute, Location: lisbon, Reason: "mast works"}, f.PlannedWork[1])
	require.Equal(t, lisbon, f.PlannedWork[2].Location)
}

// TestFaults holds the whole text: every fault, its place, its remedy.
func TestFaults(t *testing.T) {
	data, err := os.ReadFile("testdata/faults.yaml")
	require.NoError(t, err)
	f, err := inventory.Parse("faults.yaml", data, options(t))
	require.Nil(t, f)
	var faults document.Faults
	require.True(t, errors.As(err, &faults))
	for _, fault := range faults {
		require.Positive(t, fault.Line, fault)
		require.NotEmpty(t, fault.Remedy, fault)
	}
	golden(t, "faults.txt", strings.TrimSpace(err.Error())+"\n")
}
