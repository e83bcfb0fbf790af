package inventory_test

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/inventory"
	"lightwell/collector/model"
)

const small = `
sites: [{id: s}]
cables: [{id: c, site: s, length_m: 10}]
units:
  - {id: r, site: s, role: outdoor, model: outdoor-std, via: i}
  - {id: i, site: s, role: indoor, model: rack-dual-supply, address: 192.0.2.1}
`

// modelsOnly are options that check nothing but the models.
func modelsOnly(t testing.TB) inventory.Options {
	t.Helper()
	models, err := model.Builtin()
	require.NoError(t, err)
	return inventory.Options{Models: models}
}

func TestParseWithoutLists(t *testing.T) {
	f, err := inventory.Parse("fleet.yaml", []byte(small+"severities: [{type: anything, severity: minor}]"), modelsOnly(t))
	require.NoError(t, err, "credentials and types are not checked when their lists are nil")
	u, _ := f.Unit("i")
	require.Equal(t, inventory.DefaultPoll, u.Poll)

	o := modelsOnly(t)
	o.DefaultPoll = "@every 5m"
	f, err = inventory.Parse("fleet.yaml", []byte(small), o)
	require.NoError(t, err)
	u, _ = f.Unit("r")
	require.Equal(t, "@every 5m", u.Poll)
}

func TestEmptyFleet(t *testing.T) {
	for _, text := range []string{"", "# nothing yet\n", "sites:\nunits:\n"} {
		f, err := inventory.Parse("fleet.yaml", []byte(text), modelsOnly(t))
		require.NoError(t, err, text)
		require.Empty(t, f.Units)
	}
}

// TestAddress covers the forms of host and port: RFC 3986 for the brackets,
// RFC 1123 for host names, port 161 of RFC 3417 when none is given.
func TestAddress(t *testing.T) {
	for _, tt := range []struct{ in, want string }{
		{"192.0.2.11", "192.0.2.11:161"},
		{"192.0.2.11:1161", "192.0.2.11:1161"},
		{"agent", "agent:161"},
		{"agent-7.example.net:65535", "agent-7.example.net:65535"},
		{"2001:db8::7", "[2001:db8::7]:161"},
		{"[2001:db8::7]", "[2001:db8::7]:161"},
		{"[2001:DB8:0::7]:1161", "[2001:db8::7]:1161"},
		{"192.0.2.300", ""},
		{"192.0.2", ""},
		{"[2001:db8::7", ""},
		{"2001:db8::7]", ""},
		{"[192.0.2.1", ""},
		{"host:0", ""},
		{"host:65536", ""},
		{"host:snmp", ""},
		{":161", ""},
		{"-agent", ""},
		{"a..b", ""},
		{"udp://192.0.2.1", ""},
		{"0.0.0.0", ""},
		{"224.0.0.1", ""},
		{strings.Repeat("a.", 127) + "a", ""},
	} {
		text := strings.Replace(small, "192.0.2.1", fmt.Sprintf("%q", tt.in), 1)
		f, err := inventory.Parse("fleet.yaml", []byte(text), modelsOnly(t))
		if tt.want == "" {
			require.Error(t, err, tt.in)
			require.Contains(t, err.Error(), "write a host, host:port, or [IPv6]:port")
			continue
		}
		require.NoError(t, err, tt.in)
		u, _ := f.Unit("i")
		require.Equal(t, tt.want, u.Address)
	}
}

func TestPollLimits(t *testing.T) {
	for _, tt := range []struct {
		poll string
		min  time.Duration
		ok   bool
	}{
		{"@every 10s", 0, true},
		{"@every 9999ms", 0, false},
		{"@every 1s", time.Second, true},
		{"* * * * *", time.Minute, true},
		{"* * * * *", time.Minute + 1, false},
		{"0,5,6 * * * *", 2 * time.Minute, false}, // the shortest gap counts
		{"@hourly", time.Hour, true},
		{"0 0 30 2 *", 0, false}, // never
	} {
		o := modelsOnly(t)
		o.MinPoll = tt.min
		_, err := inventory.Parse("fleet.yaml", fmt.Appendf(nil, "poll: %q\n%s", tt.poll, small), o)
		require.Equal(t, tt.ok, err == nil, "%s %s: %v", tt.poll, tt.min, err)
	}
}

// TestShared: up to collector.MaxIndoorPerOutdoor indoor units on one outdoor
// unit, which is read via one of them.
func TestShared(t *testing.T) {
	fleet := func(links int) string {
		var b strings.Builder
		b.WriteString("sites: [{id: s}]\ncables: [{id: c, site: s, length_m: 10}]\nunits:\n")
		b.WriteString("  - {id: r, site: s, role: outdoor, model: outdoor-std, via: i2}\n")
		for i := 1; i <= links; i++ {
			fmt.Fprintf(&b, "  - {id: i%d, site: s, role: indoor, model: rack-dual-supply, address: 192.0.2.%d}\n", i, i)
		}
		b.WriteString("links:\n")
		for i := 1; i <= links; i++ {
			fmt.Fprintf(&b, "  - {id: l%d, outdoor: r, indoor: i%d, use: repeater, downlink: {cable: c, strand: %d}, uplink: {cable: c, strand: %d}}\n", i, i, 2*i-1, 2*i)
		}
		return b.String()
	}
	f, err := inventory.Parse("fleet.yaml", []byte(fleet(4)), modelsOnly(t))
	require.NoError(t, err)
	require.Len(t, f.LinksOf("r"), collector.MaxIndoorPerOutdoor)
	u, _ := f.Unit("r")
	require.Equal(t, "192.0.2.2:161", u.Address)

	_, err = inventory.Parse("fleet.yaml", []byte(fleet(5)), modelsOnly(t))
	require.EqualError(t, err, `fleet.yaml:15:23: link "l5": unit "r" already has 4 links; use another outdoor unit`)
}

func TestSeveralFiles(t *testing.T) {
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		require.NoError(t, os.WriteFile(path, []byte(text), 0o600))
		return path
	}
	plan := write("plan.yaml", "sites: [{id: s}]\ncables: [{id: c, site: s, length_m: 10}]\n")
	units := write("units.yaml", "poll: '@every 20s'\nunits:\n  - {id: i, site: s, role: indoor, model: rack-dual-supply, address: 192.0.2.1}\n")
	f, err := inventory.Load([]string{units, plan}, modelsOnly(t))
	require.NoError(t, err)
	u, _ := f.Unit("i")
	require.Equal(t, "@every 20s", u.Poll)

	again := write("again.yaml", "units:\n  - {id: i, site: s, role: indoor, model: rack-dual-supply, address: 192.0.2.2}\n")
	broken := write("broken.yaml", "units: [\n")
	missing := filepath.Join(dir, "missing.yaml")
	_, err = inventory.Load([]string{units, plan, again, broken, missing}, modelsOnly(t))
	require.ErrorContains(t, err, again+`:2:10: unit "i": this id is used already`)
	require.ErrorContains(t, err, broken+":1:")
	require.ErrorContains(t, err, missing+": open")
}

func FuzzParse(f *testing.F) {
	for _, name := range []string{"good.yaml", "faults.yaml"} {
		data, err := os.ReadFile(filepath.Join("testdata", name))
		require.NoError(f, err)
		f.Add(string(data))
	}
	f.Add(small)
	o := options(f)
	f.Fuzz(func(t *testing.T, text string) {
		fleet, err := inventory.Parse("fleet.yaml", []byte(text), o)
		if err != nil {
			require.Nil(t, fleet)
			return
		}
		for _, u := range fleet.Units {
			require.NotEmpty(t, u.Address)
			require.NotEmpty(t, u.Equipment.Points)
			_, err := collector.ParseSchedule(u.Poll, time.UTC)
			require.NoError(t, err)
		}
		for _, s := range fleet.Sites {
			require.NotNil(t, s.Location)
		}
		require.NoError(t, new(collector.Calendar).SetFleet(fleet))
		again, err := inventory.Parse("fleet.yaml", []byte(text), o)
		require.NoError(t, err)
		require.True(t, inventory.Compare(fleet, again).Empty())
	})
}

// bigFleet describes n links: n indoor and n outdoor units.
func bigFleet(n int) []byte {
	var units, links strings.Builder
	for i := range n {
		fmt.Fprintf(&units, "  - {id: o%d, site: s, role: outdoor, model: outdoor-std, via: i%d}\n", i, i)
		fmt.Fprintf(&units, "  - {id: i%d, site: s, role: indoor, model: rack-dual-supply, address: \"192.0.2.1:%d\"}\n", i, i+1)
		fmt.Fprintf(&links, "  - {id: l%d, outdoor: o%d, indoor: i%d, use: repeater, downlink: {cable: c, strand: %d, connectors: 4}, uplink: {cable: c, strand: %d, connectors: 4}}\n", i, i, i, 2*i+1, 2*i+2)
	}
	return []byte("sites: [{id: s}]\ncables: [{id: c, site: s, length_m: 10}]\nunits:\n" + units.String() + "links:\n" + links.String())
}

func BenchmarkParse(b *testing.B) {
	o := modelsOnly(b)
	for _, links := range []int{50, 500, 5000} {
		data := bigFleet(links)
		b.Run(fmt.Sprintf("units=%d", 2*links), func(b *testing.B) {
			b.ReportAllocs()
			b.SetBytes(int64(len(data)))
			for b.Loop() {
				_, err := inventory.Parse("fleet.yaml", data, o)
				require.NoError(b, err)
			}
		})
	}
}
