// Package demo is the built-in demonstration: an invented fleet, a simulated
// plant whose units answer SNMP on loopback, a scenario that tells a story,
// and a webhook receiver that prints what arrives. The daemon beside it is
// the real one. Its data are the two files in this folder; every secret is
// made anew at each start.
package demo

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"time"

	"go.uber.org/zap"
	"golang.org/x/sync/errgroup"

	"lightwell/alarms/notify"
	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
	"lightwell/collector"
	"lightwell/collector/inventory"
	"lightwell/collector/model"
	"lightwell/collector/plant"
	"lightwell/collector/plant/agent"
)

// plantStart is the plant's time at the start of the demonstration: the story
// is the same at any hour of our day.
var plantStart = time.Date(2026, time.May, 12, 9, 0, 0, 0, time.UTC)

//go:embed fleet.yaml
var fleetFile []byte

//go:embed scenario.yaml
var scenarioFile []byte

// Config says which plant is played, and how fast.
type Config struct {
	Seed  uint64
	Speed float64 // plant seconds per second
	Log   *zap.Logger
	Print func(source, text string) // takes one line per event; called from several goroutines
	// Fleet and Scenario replace the built-in files when they are not nil.
	Fleet, Scenario []byte
}

// A Demo is a plant ready to be polled and a receiver ready to be told.
type Demo struct {
	cfg      Config
	models   *model.Set
	fleet    *collector.Fleet
	plant    *plant.Plant
	scenario plant.Scenario
	agents   *agent.Agents
	access   access
	receiver net.Listener
	handler  http.Handler
}

// New makes the plant and opens its sockets.
func New(cfg Config) (d *Demo, err error) {
	if cfg.Fleet == nil {
		cfg.Fleet = fleetFile
	}
	if cfg.Scenario == nil {
		cfg.Scenario = scenarioFile
	}
	d = &Demo{cfg: cfg, access: newAccess()}
	if d.models, err = model.Builtin(); err != nil {
		return nil, err
	}
	if d.fleet, err = inventory.Parse("demo fleet", cfg.Fleet, inventory.Options{Models: d.models, MinPoll: time.Millisecond, AlarmTypes: daemon.TypeNames()}); err != nil {
		return nil, err
	}
	if d.plant, err = plant.New(d.fleet, d.models, plant.Config{Seed: cfg.Seed, Start: plantStart, Speed: cfg.Speed}); err != nil {
		return nil, err
	}
	if d.scenario, err = d.plant.ParseScenario("demo scenario", cfg.Scenario); err != nil {
		return nil, err
	}
	d.plant.Play(d.scenario)
	if err := d.age(); err != nil {
		return nil, err
	}
	return d, d.open()
}

// open opens the sockets of agents and receiver, and points the fleet at them.
func (d *Demo) open() (err error) {
	var units []string
	for _, a := range d.plant.Agents() {
		units = append(units, a.Unit)
	}
	d.agents, err = agent.New(agent.Config{
		Source: d.plant, Units: units, Listen: netip.MustParseAddrPort("127.0.0.1:0"),
		Communities: d.access.communities(), Users: d.access.users(),
	}, d.cfg.Log.Named("agent"))
	if err != nil {
		return err
	}
	d.fleet = addressed(d.fleet, d.plant.Agents(), d.agents)
	receiver, err := notify.NewReceiver([]collector.Secret{d.access.webhook}, d.arrived)
	if err == nil {
		d.handler = receiver
		d.receiver, err = net.Listen("tcp", "127.0.0.1:0")
	}
	if err != nil {
		return errors.Join(err, d.agents.Close())
	}
	return nil
}

// addressed returns the fleet with each unit at the socket that answers for it.
func addressed(f *collector.Fleet, infos []plant.AgentInfo, agents *agent.Agents) *collector.Fleet {
	at := map[string]string{}
	for _, info := range infos {
		for _, u := range info.Units {
			at[u] = agents.Addr(info.Unit)
		}
	}
	moved := *f
	moved.Units = append([]collector.Unit(nil), f.Units...)
	for i := range moved.Units {
		moved.Units[i].Address = at[moved.Units[i].ID]
	}
	return collector.NewFleet(moved)
}

// Files are what the daemon is to poll.
func (d *Demo) Files() daemon.Files { return daemon.Files{Models: d.models, Fleet: d.fleet} }

// Configure gives the daemon what it needs to know of the demonstration.
func (d *Demo) Configure(cfg *config.Config) {
	cfg.Credentials = d.access.credentials()
	cfg.Commissioning = config.Commissioning{Polls: 4, Over: 0}
	cfg.Webhooks = []notify.Endpoint{{
		Name:    "demo",
		URL:     collector.NewSecret(fmt.Sprintf("http://%s/alarms", d.receiver.Addr())),
		Secrets: []collector.Secret{d.access.webhook},
	}}
}

// Close frees what New opened, for when Run is not called.
func (d *Demo) Close() error { return errors.Join(d.agents.Close(), d.receiver.Close()) }

// Run plays the plant, and receives webhooks, until ctx ends.
func (d *Demo) Run(ctx context.Context) error {
	server := &http.Server{Handler: d.handler, ReadHeaderTimeout: 5 * time.Second}
	group, ctx := errgroup.WithContext(ctx)
	group.Go(func() error { return d.agents.Run(ctx) })
	group.Go(func() error { return d.plant.Run(ctx, d.scenario, d.tell) })
	group.Go(func() error {
		if err := server.Serve(d.receiver); !errors.Is(err, http.ErrServerClosed) {
			return fmt.Errorf("webhook receiver: %w", err)
		}
		return nil
	})
	group.Go(func() error {
		<-ctx.Done()
		return server.Close()
	})
	return group.Wait()
}
