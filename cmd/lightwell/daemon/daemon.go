// Package daemon wires the parts of Lightwell into one process: poller,
// baselines, engine, alarm list, webhooks, metrics, page and API, and the
// files they start from. It starts them in an order in which nothing is lost
// (state first, listener before polling) and stops them in the reverse one.
// Its data come from a config.Config.
package daemon

import (
	"context"
	"errors"
	"net/http"
	"net/netip"
	"sync/atomic"
	"time"

	"go.uber.org/zap"
	"golang.org/x/sync/errgroup"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/diagnosis"
	"lightwell/alarms/margin"
	"lightwell/alarms/metrics"
	"lightwell/alarms/notify"
	"lightwell/alarms/rules"
	"lightwell/alarms/trend"
	"lightwell/alarms/visit"
	"lightwell/alarms/web"
	"lightwell/cmd/lightwell/config"
	"lightwell/collector"
	"lightwell/collector/backup"
	"lightwell/collector/model"
	"lightwell/collector/snmp"
	"lightwell/collector/state"
)

// Options are what a Daemon is made of beside its configuration.
type Options struct {
	Config  config.Config
	Files   Files
	Version string
	Log     *zap.Logger
	// Prober reads the units; nil: over SNMP, as the configuration says.
	Prober collector.Prober
	// OnPoll, when set, is told of every poll after the daemon has used it.
	OnPoll func(collector.Poll)
	// OnChanges, when set, is told of every change of the alarm list. It must
	// return soon.
	OnChanges func([]alarms.Change)
}

// A Daemon is the whole program between fleet file and webhook. New opens
// what it needs, Run runs it.
type Daemon struct {
	opts       Options
	log        *zap.Logger
	keep       *keeper
	memory     memory // from the time before; dropped once it is in force
	fleet      atomic.Pointer[collector.Fleet]
	models     atomic.Pointer[model.Set]
	client     swapProber
	calendar   collector.Calendar
	visits     *visit.Book
	book       *baseline.Book
	trends     *trend.Keeper
	list       *alarms.List
	engine     *alarms.Engine
	poller     *collector.Poller
	traps      *snmp.Listener // nil: not listened for
	dispatcher *notify.Dispatcher
	metrics    *metrics.Metrics
	past       *past
	backups    *backup.Keeper
	server     *web.Server
	pulse      pulse
	identity   string
	started    []byte // body of the line that tells of the start
	watch      *watch
	running    config.Config // as it was at the start
}

// New opens state and listener. A used port or data folder is an error here,
// before anything is polled. Close the Daemon unless Run is called.
func New(o Options) (d *Daemon, err error) {
	d = &Daemon{opts: o, running: o.Config, log: o.Log, pulse: pulse{started: time.Now()}}
	opened := d
	defer func() {
		if err != nil {
			opened.Close()
		}
	}()
	for _, step := range []func() error{d.openState, d.openMemory, d.openVisits, d.openAlarms, d.openPolling, d.openBackups, d.openPublishing} {
		if err = step(); err != nil {
			return nil, err
		}
	}
	if err = d.use(o.Files); err != nil {
		return nil, err
	}
	return d, nil
}

func (d *Daemon) openState() error {
	ctx, cancel := context.WithTimeout(context.Background(), readTimeout)
	defer cancel()
	cfg := d.opts.Config
	store, err := state.Open(ctx, state.Config{Folder: cfg.Data, DSN: cfg.Postgres}, d.log.Named("state"))
	if err != nil {
		return err
	}
	d.keep = newKeeper(store, d.log.Named("state"))
	if d.started, err = lastAlive(ctx, store); err != nil {
		return err
	}
	d.identity, err = identify(ctx, store)
	return err
}

// openMemory reads the state and opens the history, each of which takes
// seconds at full size, side by side. The folder is ours already.
func (d *Daemon) openMemory() error {
	var g errgroup.Group
	g.Go(d.openHistory)
	g.Go(func() (err error) {
		ctx, cancel := context.WithTimeout(context.Background(), readTimeout)
		defer cancel()
		d.memory, err = recall(ctx, d.keep.store)
		return err
	})
	return g.Wait()
}

func (d *Daemon) openAlarms() (err error) {
	bc := baseline.Default()
	bc.MinSamples, bc.MinTime, bc.Plan = d.opts.Config.Commissioning.Polls, d.opts.Config.Commissioning.Over, margin.Check
	if d.book, err = baseline.NewBook(baselines{d.keep}, bc); err != nil {
		return err
	}
	if err = d.openTrends(); err != nil {
		return err
	}
	d.book.Watch(d.work(), d.visits)
	d.list = alarms.NewList(alarms.ListConfig{Sink: d.changed, FirstSeq: d.memory.next})
	d.list.RestoreShelves(d.memory.shelves)
	d.list.Restore(d.memory.alarms)
	d.watch = newWatch(d.memory.alive, time.Now())
	d.engine = alarms.NewEngine(alarms.EngineConfig{
		Rules: rules.All(), List: d.list, Baselines: d.book, Trends: d.trends, Calendar: d.work(), Log: d.log.Named("engine"),
		Commit: d.keep.commit, Evidence: d.memory.evidence, Diagnose: diagnosis.Diagnose, Works: d.works,
	})
	d.memory = memory{}
	return nil
}

func (d *Daemon) openPolling() (err error) {
	var prober collector.Prober = &d.client
	if d.opts.Prober != nil {
		prober = d.opts.Prober
	}
	d.poller = collector.NewPoller(collector.PollerConfig{
		Prober: prober, Sink: d.polled, PerSite: d.opts.Config.PerSite, Log: d.log.Named("poller"),
	})
	if d.opts.Config.Traps == "" {
		return nil
	}
	d.traps, err = snmp.NewListener(d.opts.Config.Traps, d.unitsAt, d.poller.PollNow, d.log.Named("traps"))
	return err
}

// unitsAt returns the units whose agent has the address.
func (d *Daemon) unitsAt(addr netip.Addr) []string {
	var units []string
	for _, u := range d.fleet.Load().Units {
		if at, err := netip.ParseAddrPort(u.Address); err == nil && at.Addr().Unmap() == addr.Unmap() {
			units = append(units, u.ID)
		}
	}
	return units
}

func (d *Daemon) openPublishing() (err error) {
	cfg := d.opts.Config
	d.dispatcher, err = notify.New(notify.Config{
		Source: "/lightwell/" + d.identity, Endpoints: cfg.Webhooks, Current: d.list.Alarm, Log: d.log.Named("notify"),
		Outbox: notify.NewStoredOutbox(outboxRows{d.keep}),
	})
	if err != nil {
		return err
	}
	d.keep.dispatcher = d.dispatcher
	d.dispatcher.Restore(d.list.Alarms(everything))
	d.metrics = metrics.New(metrics.Config{
		Version: d.opts.Version, Engine: d.engine, List: d.list, Webhooks: d.dispatcher, History: d.past, Trends: d.trends, Baselines: d.book, Types: AlarmTypes(),
		Fleet: d.fleet.Load, State: d.stateFigures, Missed: d.poller.Missed, Datagrams: d.client.datagrams,
	})
	d.server, err = web.New(web.Config{
		Fleet: d.fleet.Load, Alarms: d.list, Engine: d.engine, Baselines: d.book, Poller: d.poller, Calendar: d.work(), Visits: d.visits,
		Types: AlarmTypes(), Metrics: d.metrics.Handler(), MetricsOpen: cfg.MetricsOpen, Tokens: cfg.Tokens, Hosts: cfg.Hosts, WebConfig: cfg.WebConfig,
		Webhooks: d.dispatcher, History: d.past.source(), Journal: d.keep, Backups: d.backups, Sessions: sessions{d.keep}, Ready: d.Ready, Unwritten: d.unwritten, Version: d.opts.Version, Log: d.log.Named("web"),
	})
	if err != nil {
		return err
	}
	return d.server.Listen(cfg.Listen)
}

// use makes files the fleet in force everywhere, or nowhere.
func (d *Daemon) use(files Files) error {
	cfg := d.opts.Config
	sc := cfg.SNMP
	sc.Models, sc.Credentials = files.Models, cfg.Credentials
	client, err := snmp.New(sc, d.log.Named("snmp"))
	if err != nil {
		return err
	}
	if err := errors.Join(d.calendar.SetFleet(files.Fleet), d.poller.SetFleet(files.Fleet)); err != nil {
		client.Close()
		return err
	}
	d.client.swap(client)
	d.models.Store(files.Models)
	d.fleet.Store(files.Fleet)
	d.pulse.expect(files.Fleet, time.Now())
	d.book.SetFleet(files.Fleet)
	d.trends.SetFleet(files.Fleet)
	d.engine.SetFleet(files.Fleet)
	return nil
}

// polled takes every outcome of a poll.
func (d *Daemon) polled(p collector.Poll) {
	if d.pulse.beat(time.Now()) {
		d.log.Info("first poll", zap.String("unit", p.Unit), zap.Duration("took", time.Since(d.pulse.started)))
	}
	d.book.Observe(p)
	d.trends.Observe(p)
	d.metrics.ObservePoll(p)
	d.engine.Observe(p)
	d.past.append(p)
	if d.opts.OnPoll != nil {
		d.opts.OnPoll(p)
	}
}

// changed takes every change of the alarm list, in order.
func (d *Daemon) changed(changes []alarms.Change) {
	for _, c := range changes {
		d.log.Info("alarm", zap.String("alarm", c.Alarm.Key.Type), zap.String("resource", c.Alarm.Resource), zap.String("kind", string(c.Kind)),
			zap.Stringer("severity", c.Alarm.Severity), zap.String("operator", c.Operator), zap.Bool("notify", c.Notify))
	}
	if d.opts.OnChanges != nil {
		d.opts.OnChanges(changes)
	}
}

// URL returns where page and API are.
func (d *Daemon) URL() string { return d.server.URL() }

// Book returns the baselines, for a program that commissions by itself.
func (d *Daemon) Book() *baseline.Book { return d.book }

// Run runs every part until ctx ends or one fails, and returns when all have
// ended and what they did is stored, StopLimit later at most.
func (d *Daemon) Run(ctx context.Context) error {
	f := d.fleet.Load()
	d.log.Info("start", zap.String("version", d.opts.Version), zap.Int("sites", len(f.Sites)), zap.Int("units", len(f.Units)),
		zap.Int("links", len(f.Links)), zap.String("data", d.keep.store.Path()), zap.String("state", d.keep.store.Engine()), zap.String("url", d.URL()))
	d.keep.Record(state.AuditRow{Time: time.Now(), Who: system, What: lineStarted, Detail: "version " + d.opts.Version, Body: d.started})
	parts := map[string]func(context.Context) error{
		"page and API": d.server.Run,
		"webhooks":     d.dispatcher.Run,
		"engine":       d.engine.Run,
		"poller":       d.poller.Run,
		"state":        d.keep.run,
		"upkeep":       d.upkeep,
		"history":      d.past.run,
		"backups":      d.backups.Run,
		"visits":       d.visits.Run,
		"trends":       d.trends.Run,
		"baselines":    d.learn,
	}
	if d.traps != nil {
		parts["traps"] = d.traps.Run
	}
	group, ctx := errgroup.WithContext(ctx)
	running := roll{names: map[string]bool{}}
	running.run(ctx, group, parts)
	return d.wait(ctx, group, &running)
}

// Close frees what New opened. Run does it by itself.
func (d *Daemon) Close() {
	d.client.swap(nil)
	if d.server != nil {
		d.server.Close()
	}
	d.past.close(d.log)
	if d.keep != nil {
		d.keep.close()
	}
}

var _ http.Handler = (*web.Server)(nil)
