package model_test

import (
	"errors"
	"flag"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/document"
	"lightwell/collector/model"
)

var update = flag.Bool("update", false, "rewrite the golden files")

// TestFaults holds the whole text: every fault, its place, its remedy.
func TestFaults(t *testing.T) {
	data, err := os.ReadFile("testdata/faults.yaml")
	require.NoError(t, err)
	m, err := model.Parse("faults.yaml", data)
	require.Nil(t, m)
	var faults document.Faults
	require.True(t, errors.As(err, &faults))
	for _, fault := range faults {
		require.Positive(t, fault.Line, fault)
		require.NotEmpty(t, fault.Remedy, fault)
	}
	const golden = "testdata/faults.txt"
	if *update {
		require.NoError(t, os.WriteFile(golden, []byte(err.Error()+"\n"), 0o644))
	}
	want, errRead := os.ReadFile(golden)
	require.NoError(t, errRead)
	require.Equal(t, string(want), err.Error()+"\n")
}

func TestSupplies(t *testing.T) {
	_, err := model.Parse("m.yaml", []byte(`model: m
roles: [indoor]
supplies: 1
points:
  - {quantity: supply_state, port: a, object: 1.3.6.1.4.1.32473.1.0, states: {1: good}}
  - {quantity: supply_state, port: b, object: 1.3.6.1.4.1.32473.2.0, states: {1: good}}
`))
	require.EqualError(t, err, "m.yaml:3:11: 1 supplies, but 2 points of supply_state; correct the number or the points")
}

func TestBuiltin(t *testing.T) {
	s, err := model.Builtin()
	require.NoError(t, err)
	require.Equal(t, []string{"compact-single-supply", "module-diagnostics", "outdoor-std", "rack-dual-supply", "rack-entity-sensors"}, s.Names())
	_, ok := s.Model("none")
	require.False(t, ok)

	rack, ok := s.Model("rack-dual-supply")
	require.True(t, ok)
	require.Equal(t, "embedded/rack-dual-supply.yaml", rack.File)
	require.Equal(t, 2, rack.Equipment.Supplies)
	require.True(t, rack.Suits(collector.Indoor))
	require.False(t, rack.Suits(collector.Outdoor))
	require.Equal(t, -12.0, *rack.Equipment.Limits.ReceivePowerMinDBm)
	require.Equal(t, 60.0, *rack.Equipment.Limits.BiasMaxMA)
	require.Nil(t, rack.Equipment.Limits.LNAOpenBelowMA)
	require.Equal(t, 20*time.Minute, rack.Equipment.Limits.WarmUpMax)
	for i, p := range rack.Points {
		require.Equal(t, rack.Equipment.Points[i], p.Point)
	}
	b, ok := rack.Point(collector.Point{Quantity: collector.SupplyState, Port: "b"})
	require.True(t, ok)
	require.Equal(t, []string{"1.3.6.1.4.1.32473.7.1.3.2.0"}, b.Objects())
	_, ok = rack.Point(collector.Point{Quantity: collector.HeaterState})
	require.False(t, ok)

	outdoor, _ := s.Model("outdoor-std")
	require.Len(t, outdoor.Objects(), len(outdoor.Points)+1, "one time stamp for all")
	module, _ := s.Model("module-diagnostics")
	require.Len(t, module.Objects(), len(module.Points)-5, "one page for six points")
}

// TestBuiltinAreRich: every indoor and outdoor model has what the alarms need.
func TestBuiltinAreRich(t *testing.T) {
	both := []collector.Quantity{collector.OpticalReceivePower, collector.OpticalTransmitPower, collector.OpticalReceiveState, collector.LaserBias, collector.LaserState,
		collector.Temperature, collector.SupplyState, collector.SupplyVoltage, collector.RFInputLevel, collector.RFOutputLevel, collector.Uptime}
	outdoor := []collector.Quantity{collector.HeaterState, collector.LNACurrent, collector.AntennaFeedState, collector.RFNoiseFloor, collector.AGCAttenuation}
	s, err := model.Builtin()
	require.NoError(t, err)
	for _, name := range s.Names() {
		m, _ := s.Model(name)
		want := both
		if m.Suits(collector.Outdoor) {
			want = append(append([]collector.Quantity(nil), both...), outdoor...)
		}
		states := 0
		have := map[collector.Quantity]bool{}
		for _, p := range m.Points {
			have[p.Point.Quantity] = true
			if p.Point.Quantity == collector.SupplyState {
				states++
			}
		}
		for _, q := range want {
			require.True(t, have[q], "%s %s", name, q)
		}
		require.Equal(t, m.Equipment.Supplies, states, name)
		require.NotEmpty(t, m.Description, name)
		require.NotNil(t, m.Equipment.Limits.TemperatureMaxC, name)
	}
}

func TestRecognised(t *testing.T) {
	s, err := model.Builtin()
	require.NoError(t, err)
	require.NoError(t, s.AddFolder(folder(t, map[string]string{
		"mk2.yaml":  minimal("rack-mk2", "{sysObjectID: 1.3.6.1.4.1.32473.7.1, sysDescr: revision 2}"),
		"sub.yml":   minimal("rack-sub", "{sysObjectID: .1.3.6.1.4.1.32473.7.1.9}"),
		"text.yaml": minimal("by-text", "{sysDescr: lightbox}"),
		"notes.txt": "not a model",
	})))
	for _, tt := range []struct {
		oid, descr string
		want       []string
	}{
		{"1.3.6.1.4.1.32473.7.1", "", []string{"rack-dual-supply"}},
		{".1.3.6.1.4.1.32473.7.1.4", "", []string{"rack-dual-supply"}},
		{"1.3.6.1.4.1.32473.7.10", "", nil}, // a prefix of digits, not of sub-identifiers
		{"1.3.6.1.4.1.32473.7", "", nil},
		{"1.3.6.1.4.1.32473.7.1", "rack, revision 2", []string{"rack-mk2", "rack-dual-supply"}},
		{"1.3.6.1.4.1.32473.7.1.9.1", "revision 2", []string{"rack-sub", "rack-mk2", "rack-dual-supply"}},
		{"1.3.6.1.4.1.32473.8", "a lightbox", []string{"by-text"}},
		{"", "", nil},
	} {
		var got []string
		for _, m := range s.Recognised(tt.oid, tt.descr) {
			got = append(got, m.Name)
		}
		require.Equal(t, tt.want, got, "%s %s", tt.oid, tt.descr)
	}
}

func minimal(name, recognise string) string {
	return "model: " + name + "\nroles: [indoor]\nsupplies: 1\nrecognise: " + recognise + "\npoints: [{quantity: uptime, object: 1.3.6.1.2.1.1.3.0, scale: 0.01}]\n"
}

func folder(t *testing.T, files map[string]string) string {
	t.Helper()
	dir := t.TempDir()
	for name, text := range files {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600))
	}
	return dir
}

func TestAddFolder(t *testing.T) {
	s, err := model.Builtin()
	require.NoError(t, err)
	before := s.Names()
	dir := folder(t, map[string]string{
		"a.yaml": minimal("fine", "{sysDescr: x}"),
		"b.yaml": minimal("rack-dual-supply", "{sysDescr: x}"),
		"c.yaml": "model: [",
		"d.yaml": minimal("fine", "{sysDescr: x}"),
		"e.yaml": "model: e\n",
	})
	err = s.AddFolder(dir)
	var faults document.Faults
	require.True(t, errors.As(err, &faults))
	require.ErrorContains(t, err, filepath.Join(dir, "b.yaml")+`:1:8: model "rack-dual-supply" is already described in embedded/rack-dual-supply.yaml; give it another name`)
	require.ErrorContains(t, err, filepath.Join(dir, "c.yaml")+":1:8: not valid YAML")
	require.ErrorContains(t, err, filepath.Join(dir, "d.yaml")+`:1:8: model "fine" is already described in `+filepath.Join(dir, "a.yaml"))
	require.ErrorContains(t, err, filepath.Join(dir, "e.yaml")+`:1:1: key "points" is missing`)
	require.Equal(t, before, s.Names(), "nothing is added from a faulty folder")

	require.NoError(t, s.AddFolder(folder(t, map[string]string{"a.yaml": minimal("fine", "{sysDescr: x}")})))
	require.Contains(t, s.Names(), "fine")
	other, err := model.Builtin()
	require.NoError(t, err)
	require.Equal(t, before, other.Names(), "sets do not share their models")

	require.Error(t, s.AddFolder(filepath.Join(dir, "none")))
}
