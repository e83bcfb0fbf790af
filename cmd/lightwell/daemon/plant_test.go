package daemon_test

import (
	"context"
	"errors"
	"net"
	"net/netip"
	"os"
	"os/exec"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/alarms/baseline"
	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
	"lightwell/collector"
	"lightwell/collector/document"
	"lightwell/collector/need"
	"lightwell/collector/plant"
	"lightwell/collector/plant/agent"
	"lightwell/collector/snmp"
)

// quayFleet has two links on one cable; ports are patched in.
const quayFleet = `
poll: "@every 200ms"
sites:
  - {id: quay, name: Quay, time_zone: UTC}
cables:
  - {id: riser, site: quay, length_m: 140, route: riser 2}
units:
  - {id: roof-1, site: quay, role: outdoor, model: outdoor-std, via: room-1}
  - {id: room-1, site: quay, role: indoor, model: rack-dual-supply, address: 192.0.2.1, credentials: v2c}
  - {id: roof-2, site: quay, role: outdoor, model: outdoor-std, via: room-2}
  - {id: room-2, site: quay, role: indoor, model: compact-single-supply, address: 192.0.2.2, credentials: v2c}
links:
  - {id: one, outdoor: roof-1, indoor: room-1, use: repeater, downlink: {cable: riser, strand: 1, wavelength_nm: 1310}, uplink: {cable: riser, strand: 2, wavelength_nm: 1310}}
  - {id: two, outdoor: roof-2, indoor: room-2, use: direct-feed, downlink: {cable: riser, strand: 3, wavelength_nm: 1310}, uplink: {cable: riser, strand: 4, wavelength_nm: 1310}}
`

const quayCommunity = "quay-community"

// quay is a bench whose units are simulated.
type quay struct {
	*bench
	plant  *plant.Plant
	agents *agent.Agents
}

func newQuay(t testing.TB) *quay {
	t.Helper()
	b := newBench(t, quayFleet, func(cfg *config.Config) {
		cfg.Credentials = map[string]snmp.Credentials{"v2c": {Version: "2c", Community: collector.NewSecret(quayCommunity)}}
	})
	files, err := daemon.LoadFiles(b.cfg)
	require.NoError(t, err)
	q := &quay{bench: b}
	q.plant, err = plant.New(files.Fleet, files.Models, plant.Config{Seed: 7})
	require.NoError(t, err)
	q.agents, err = agent.New(agent.Config{
		Source: q.plant, Units: []string{"room-1", "room-2"}, Listen: netip.MustParseAddrPort("127.0.0.1:0"),
		Communities: []collector.Secret{collector.NewSecret(quayCommunity)},
	}, zap.NewNop())
	require.NoError(t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- q.agents.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		require.NoError(t, <-ended)
	})
	q.rewrite(func(fleet string) string {
		return strings.NewReplacer("192.0.2.1,", q.agents.Addr("room-1")+",", "192.0.2.2,", q.agents.Addr("room-2")+",").Replace(fleet)
	})
	return q
}

// rewrite changes the fleet file.
func (b *bench) rewrite(change func(string) string) {
	b.t.Helper()
	old, err := os.ReadFile(b.cfg.Fleet[0])
	require.NoError(b.t, err)
	require.NoError(b.t, os.WriteFile(b.cfg.Fleet[0], []byte(change(string(old))), 0o600))
}

func (q *quay) inject(f plant.Fault) plant.FaultID {
	q.t.Helper()
	id, err := q.plant.Inject(f, q.plant.PlantTime(time.Now()))
	require.NoError(q.t, err)
	return id
}

var quayUnits = []string{"roof-1", "room-1", "roof-2", "room-2"}

// TestOneCauseOneAlarm cuts a cable with two links in it: one alarm, and what
// follows from it is kept silent.
func TestOneCauseOneAlarm(t *testing.T) {
	t.Parallel()
	q := newQuay(t)
	q.start()
	q.commission(quayUnits...)
	cut := q.inject(plant.Fault{Kind: "cable-cut", Cable: "riser"})
	q.saw("raised critical optical-signal-lost cable/riser")
	var list struct {
		Items []struct {
			Resource string
			Details  struct{ Impacted []string }
			Hold     struct{ Reason, By string }
		}
	}
	q.get("/api/v1/alarms?state=active", &list)
	require.Len(t, list.Items, 1)
	require.ElementsMatch(t, []string{"link/one", "link/two"}, list.Items[0].Details.Impacted)
	q.eventually("consequences are listed as held", func() bool {
		q.get("/api/v1/alarms?state=held", &list)
		return len(list.Items) > 0
	})
	for _, a := range list.Items {
		require.Equal(t, "cable/riser", a.Hold.By, a.Resource)
	}
	require.NoError(t, q.plant.Repair(cut, q.plant.PlantTime(time.Now())))
	q.saw("cleared critical optical-signal-lost cable/riser")
	for _, event := range q.webhooks() {
		require.Contains(t, event, "cable/riser", "nothing but the cause was announced")
	}
}

// TestRestartForgetsNothing stops the daemon while an alarm is raised and
// acknowledged, and starts it again on the same data.
func TestRestartForgetsNothing(t *testing.T) {
	t.Parallel()
	q := newQuay(t)
	q.start()
	q.commission(quayUnits...)
	lost := q.inject(plant.Fault{Kind: "supply-lost", Unit: "room-1", Port: "b"})
	const resource = "supply-redundancy-lost unit/room-1/supply_state/b"
	q.saw("raised minor " + resource)
	require.Error(t, func() error { _, err := daemon.New(daemon.Options{Config: q.cfg, Log: zap.NewNop()}); return err }(), "one daemon a data folder")
	q.stop()
	before := len(q.webhooks())

	q.start()
	for _, u := range quayUnits {
		require.Equal(t, baseline.Accepted, q.daemon.Book().State(u))
	}
	q.eventually("the daemon is ready", func() bool { return q.daemon.Ready() == nil })
	require.NoError(t, q.plant.Repair(lost, q.plant.PlantTime(time.Now())))
	q.saw("cleared minor " + resource)
	require.Equal(t, before+1, len(q.webhooks()), "the alarm is not raised twice: %v", q.webhooks())
}

// TestTrapAsksForAPoll polls once an hour, and at once after a trap.
func TestTrapAsksForAPoll(t *testing.T) {
	t.Parallel()
	snmptrap := need.Program(t, "snmptrap")
	q := newQuay(t)
	probe, err := net.ListenPacket("udp", "127.0.0.1:0")
	require.NoError(t, err)
	q.cfg.Traps = probe.LocalAddr().String()
	require.NoError(t, probe.Close())
	q.rewrite(func(fleet string) string { return strings.Replace(fleet, "@every 200ms", "@every 1h", 1) })
	q.start()
	polls := func() string {
		_, rest, _ := strings.Cut(q.get("/metrics", nil), `lightwell_polls_total{site="quay",unit="room-1"} `)
		count, _, _ := strings.Cut(rest, "\n")
		return count
	}
	q.eventually("the first poll", func() bool { return polls() == "1" })
	out, err := exec.Command(snmptrap, "-v2c", "-c", "any", q.cfg.Traps, "", "1.3.6.1.6.3.1.1.5.1").CombinedOutput()
	require.NoError(t, err, string(out))
	q.eventually("a poll out of turn", func() bool { return polls() == "2" })
}

// TestUsedPortIsAStartError opens a second daemon on the port of the first.
func TestUsedPortIsAStartError(t *testing.T) {
	t.Parallel()
	q := newQuay(t)
	q.start()
	files, err := daemon.LoadFiles(q.cfg)
	require.NoError(t, err)
	second := q.cfg
	second.Listen = strings.TrimPrefix(q.daemon.URL(), "http://")
	second.Data = t.TempDir()
	_, err = daemon.New(daemon.Options{Config: second, Files: files, Log: zap.NewNop()})
	require.ErrorContains(t, err, "address already in use")
	second.Listen = "127.0.0.1:0"
	again, err := daemon.New(daemon.Options{Config: second, Files: files, Log: zap.NewNop()})
	require.NoError(t, err, "the failed start gave its data folder free")
	again.Close()
}

func TestReload(t *testing.T) {
	t.Parallel()
	q := newQuay(t)
	q.start()
	q.eventually("first polls", func() bool {
		return strings.Contains(q.get("/metrics", nil), `lightwell_unit_up{site="quay",unit="room-2"} 1`)
	})

	q.rewrite(func(fleet string) string { return strings.Replace(fleet, "role: outdoor", "role: upstairs", 1) })
	_, err := daemon.LoadFiles(q.cfg)
	var faults document.Faults
	require.True(t, errors.As(err, &faults))
	q.daemon.Reloaded(err)
	require.Contains(t, q.log.String(), "the running configuration stays in force")
	require.Contains(t, q.log.String(), `unknown role \"upstairs\"`)
	require.Contains(t, q.get("/metrics", nil), `unit="room-2"`, "the old fleet goes on")

	q.rewrite(func(fleet string) string {
		fleet = strings.Replace(fleet, "role: upstairs", "role: outdoor", 1)
		fleet, _, _ = strings.Cut(fleet, "links:")
		return strings.ReplaceAll(strings.ReplaceAll(fleet, "  - {id: roof-2,", "  #"), "  - {id: room-2,", "  #")
	})
	files, err := daemon.LoadFiles(q.cfg)
	require.NoError(t, err)
	require.NoError(t, q.daemon.Reload(q.cfg, files))
	q.eventually("the unit that left is gone", func() bool { return !strings.Contains(q.get("/metrics", nil), `unit="room-2"`) })
	require.Contains(t, q.get("/metrics", nil), `lightwell_unit_up{site="quay",unit="room-1"} 1`)
	require.Contains(t, q.log.String(), "reloaded")
}

// BenchmarkAlarmToWebhook measures from the poll that brought the first
// evidence of a dark fibre to the receiver having the webhook, the second poll
// that the alarm waits for included: polls come every 200 ms.
func BenchmarkAlarmToWebhook(b *testing.B) {
	var sum time.Duration
	turns := 0
	for b.Loop() {
		sum += alarmToWebhook(b)
		turns++
	}
	b.ReportMetric(float64(sum.Milliseconds())/float64(turns), "ms/alarm")
}

func alarmToWebhook(b *testing.B) time.Duration {
	q := newQuay(b)
	var evidence atomic.Int64
	lost := collector.Point{Quantity: collector.OpticalReceiveState}
	q.onPoll = func(p collector.Poll) {
		for _, r := range p.Readings {
			if r.Point == lost && r.State() == collector.StateLost {
				evidence.CompareAndSwap(0, r.Taken.UnixNano())
			}
		}
	}
	q.start()
	defer q.stop()
	q.commission(quayUnits...)
	q.inject(plant.Fault{Kind: "fibre-open", Link: "one", Direction: "downlink"})
	q.eventually("webhook", func() bool { return len(q.webhooks()) > 0 })
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.last.Sub(time.Unix(0, evidence.Load()))
}
