package agent_test

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/plant"
	"lightwell/collector/snmp"
)

// indoors are models of units that answer themselves.
var indoors = []string{"rack-dual-supply", "compact-single-supply", "module-diagnostics", "rack-entity-sensors"}

// realPlant is a plant with a roof unit and an indoor unit of each model. Its
// time all but stands still, so that two readings of it are equal.
func realPlant(t testing.TB) (*plant.Plant, *model.Set, *collector.Fleet) {
	t.Helper()
	models, err := model.Builtin()
	require.NoError(t, err)
	f := collector.Fleet{Sites: []collector.Site{{ID: "quay", Location: time.UTC}}, Cables: []collector.Cable{{ID: "riser", Site: "quay", LengthM: 200}}}
	for i, name := range indoors {
		indoor, ok := models.Model(name)
		require.True(t, ok, name)
		outdoor, ok := models.Model("outdoor-std")
		require.True(t, ok)
		roof := fmt.Sprintf("roof-%d", i)
		f.Units = append(f.Units,
			collector.Unit{ID: roof, Site: "quay", Role: collector.Outdoor, Equipment: outdoor.Equipment, Via: name},
			collector.Unit{ID: name, Site: "quay", Role: collector.Indoor, Equipment: indoor.Equipment})
		path := collector.Path{Cable: "riser", Strand: 2*i + 1, WavelengthNM: 1310, Connectors: 4}
		back := path
		back.Strand++
		f.Links = append(f.Links, collector.Link{ID: roof, Outdoor: roof, Indoor: name, Use: collector.Repeater, Downlink: path, Uplink: back})
	}
	fleet := collector.NewFleet(f)
	p, err := plant.New(fleet, models, plant.Config{Seed: 3, Start: time.Date(2026, 4, 14, 6, 0, 0, 0, time.UTC), Speed: 1e-9})
	require.NoError(t, err)
	return p, models, fleet
}

// startPlant runs the agents of p and returns the fleet's units with the
// addresses they have now.
func startPlant(t testing.TB, p *plant.Plant, fleet *collector.Fleet) []collector.Unit {
	t.Helper()
	c := config(p)
	for _, a := range p.Agents() {
		c.Units = append(c.Units, a.Unit)
	}
	a := start(t, c)
	units := slices.Clone(fleet.Units)
	for i := range units {
		u := &units[i]
		if u.Address = a.Addr(u.ID); u.Via != "" {
			u.Address = a.Addr(u.Via)
		}
		require.NotEmpty(t, u.Address)
	}
	return units
}

var credentials = map[string]snmp.Credentials{
	"v1":   {Version: snmp.Version1, Community: collector.NewSecret(community)},
	"v2c":  {Version: snmp.Version2c, Community: collector.NewSecret(community)},
	"open": {Version: snmp.Version3, User: "open"},
	"auth": {Version: snmp.Version3, User: "signed", Auth: "sha256", AuthPassword: collector.NewSecret(password)},
	"priv": {Version: snmp.Version3, User: "sealed", Auth: "sha256", AuthPassword: collector.NewSecret(password), Privacy: "aes128", PrivacyPassword: collector.NewSecret(secret)},

	"wrong community": {Version: snmp.Version2c, Community: collector.NewSecret("other")},
	"wrong user":      {Version: snmp.Version3, User: "nobody", Auth: "sha256", AuthPassword: collector.NewSecret(password)},
	"wrong password":  {Version: snmp.Version3, User: "signed", Auth: "sha256", AuthPassword: collector.NewSecret(password + "x")},
	"too little":      {Version: snmp.Version3, User: "sealed", Auth: "sha256", AuthPassword: collector.NewSecret(password)},
}

func newClient(t testing.TB, models *model.Set, timeout time.Duration) *snmp.Client {
	t.Helper()
	c := snmp.Default()
	c.Models, c.Credentials, c.Timeout, c.Retries = models, credentials, timeout, 0
	client, err := snmp.New(c, zap.NewNop())
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, client.Close()) })
	return client
}

// What the daemon reads over the network is what the plant is, whole and hurt.
func TestNetworkAgreesWithPlant(t *testing.T) {
	p, models, fleet := realPlant(t)
	units, client := startPlant(t, p, fleet), newClient(t, models, 2*time.Second)
	check := func(t *testing.T) {
		for _, name := range []string{"v1", "v2c", "open", "auth", "priv"} {
			for _, u := range units {
				u.Credentials = name
				want, err := p.Prober().Probe(t.Context(), u)
				require.NoError(t, err)
				got, err := client.Probe(t.Context(), u)
				require.NoError(t, err, "%s as %s", u.ID, name)
				require.Len(t, got, len(want))
				for i := range want {
					within := 1e-6 * math.Abs(want[i].Value) // an Opaque float has 24 bits
					if want[i].Point.Quantity == collector.Uptime {
						within = 0.0101 // sysUpTime is cut off to hundredths, not rounded
					}
					require.InDelta(t, want[i].Value, got[i].Value, within, "%s as %s: %s", u.ID, name, want[i].Point)
					want[i].Value, want[i].Taken = got[i].Value, got[i].Taken
				}
				require.Equal(t, want, got, "%s as %s", u.ID, name)
			}
		}
	}
	t.Run("whole", check)
	for _, f := range []plant.Fault{
		{Kind: "supply-lost", Unit: "rack-dual-supply", Port: "a"},
		{Kind: "sensor-broken", Unit: "compact-single-supply", Point: "temperature"},
		{Kind: "fibre-open", Link: "roof-0", Direction: "both"},
		{Kind: "laser-failed", Unit: "rack-entity-sensors"},
	} {
		_, err := p.Inject(f, p.Start().Add(-time.Hour))
		require.NoError(t, err)
	}
	t.Run("hurt", check)
}

func TestClientIsTurnedAway(t *testing.T) {
	p, models, fleet := realPlant(t)
	units, patient, hasty := startPlant(t, p, fleet), newClient(t, models, 5*time.Second), newClient(t, models, 100*time.Millisecond)
	u := units[1]
	for _, u.Credentials = range []string{"wrong user", "wrong password", "too little"} {
		_, err := patient.Probe(t.Context(), u)
		require.ErrorIs(t, err, collector.ErrRefused, u.Credentials)
	}
	u.Credentials = "wrong community"
	_, err := hasty.Probe(t.Context(), u)
	require.ErrorIs(t, err, collector.ErrNoAnswer)

	u.Credentials = "priv"
	id, err := p.Inject(plant.Fault{Kind: "management-lost", Unit: u.ID}, p.Start().Add(-time.Hour))
	require.NoError(t, err)
	_, err = hasty.Probe(t.Context(), u)
	require.ErrorIs(t, err, collector.ErrNoAnswer)
	require.NoError(t, p.Repair(id, p.Start()))
	_, err = patient.Probe(t.Context(), u)
	require.NoError(t, err)
}

// A restart of the agent makes the client learn boots and time anew, in the
// same probe.
func TestClientFollowsPlantRestart(t *testing.T) {
	p, models, fleet := realPlant(t)
	units, client := startPlant(t, p, fleet), newClient(t, models, 5*time.Second)
	u := units[1]
	u.Credentials = "priv"
	upTime := func() float64 {
		t.Helper()
		readings, err := client.Probe(t.Context(), u)
		require.NoError(t, err)
		i := slices.IndexFunc(readings, func(r collector.Reading) bool { return r.Point.Quantity == collector.Uptime })
		return readings[i].Value
	}
	before := upTime()
	_, err := p.Inject(plant.Fault{Kind: "agent-restart", Unit: u.ID}, p.Start().Add(-time.Minute))
	require.NoError(t, err)
	require.Greater(t, before, 3600.0)
	require.InDelta(t, 50, upTime(), 1, "a minute ago, and ten seconds to come up")
}

// One poll of a rack unit, from the datagram to the reply, the plant's physics
// included.
func BenchmarkPlant(b *testing.B) {
	p, models, fleet := realPlant(b)
	units, client := startPlant(b, p, fleet), newClient(b, models, 2*time.Second)
	u := units[1]
	for _, u.Credentials = range []string{"v2c", "priv"} {
		b.Run(u.Credentials, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				_, err := client.Probe(b.Context(), u)
				require.NoError(b, err)
			}
		})
	}
	b.Run("objects alone", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			_, silent := p.Objects(u.ID, time.Now())
			require.False(b, silent)
		}
	})
}
