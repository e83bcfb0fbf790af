// Package daemon wires the parts of Lightwell into one process: poller,
// baselines, engine, alarm list, webhooks, metrics, page and API, and the
// files they start from. It starts them in an order in which nothing is lost
// (state first, listener before polling) and stops them in the reverse one.
// Its data come from a config.Config.
package daemon

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/netip"
	"sync/atomic"
	"time"

	"go.uber.org/zap"
	"golang.org/x/sync/errgroup"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/metrics"
	"lightwell/alarms/notify"
	"lightwell/alarms/rules"
	"lightwell/alarms/web"
	"lightwell/cmd/lightwell/config"
	"lightwell/collector"
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
	dir        *state.Dir
	fleet      atomic.Pointer[collector.Fleet]
	models     atomic.Pointer[model.Set]
	client     swapProber
	calendar   collector.Calendar
	book       *baseline.Book
	list       *alarms.List
	engine     *alarms.Engine
	poller     *collector.Poller
	traps      *snmp.Listener // nil: not listened for
	dispatcher *notify.Dispatcher
	metrics    *metrics.Metrics
	server     *web.Server
	unsaved    chan struct{} // holds one signal: the alarm list has changed
	pulse      pulse
	identity   string
}

// New opens state and listener. A used port or data folder is an error here,
// before anything is polled. Close the Daemon unless Run is called.
func New(o Options) (_ *Daemon, err error) {
	d := &Daemon{opts: o, log: o.Log, unsaved: make(chan struct{}, 1), pulse: pulse{started: time.Now()}}
	if d.dir, err = state.Open(o.Config.Data); err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			d.Close()
		}
	}()
	for _, step := range []func() error{d.identify, d.openAlarms, d.openPolling, d.openPublishing} {
		if err = step(); err != nil {
			return nil, err
		}
	}
	if err = d.use(o.Files); err != nil {
		return nil, err
	}
	return d, nil
}

func (d *Daemon) openAlarms() (err error) {
	bc := baseline.Default()
	bc.MinSamples, bc.MinTime = d.opts.Config.Commissioning.Polls, d.opts.Config.Commissioning.Over
	if d.book, err = baseline.NewBook(d.dir, bc); err != nil {
		return err
	}
	d.list = alarms.NewList(alarms.ListConfig{Sink: d.changed})
	if err = d.restore(); err != nil {
		return err
	}
	d.engine = alarms.NewEngine(alarms.EngineConfig{
		Rules: rules.All(), List: d.list, Baselines: d.book, Calendar: &d.calendar, Log: d.log.Named("engine"),
	})
	return nil
}

func (d *Daemon) openPolling() (err error) {
	d.poller = collector.NewPoller(collector.PollerConfig{
		Prober: &d.client, Sink: d.polled, PerSite: d.opts.Config.PerSite, Log: d.log.Named("poller"),
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
	})
	if err != nil {
		return err
	}
	d.dispatcher.Restore(d.list.Alarms(everything))
	d.metrics = metrics.New(metrics.Config{
		Version: d.opts.Version, Engine: d.engine, List: d.list, Webhooks: d.dispatcher, Baselines: d.book, Types: AlarmTypes(),
	})
	d.server, err = web.New(web.Config{
		Fleet: d.fleet.Load, Alarms: d.list, Engine: d.engine, Baselines: d.book, Poller: d.poller, Calendar: &d.calendar,
		Types: AlarmTypes(), Metrics: d.metrics.Handler(), MetricsOpen: cfg.MetricsOpen, Tokens: cfg.Tokens, Hosts: cfg.Hosts,
		Ready: d.Ready, Version: d.opts.Version, Log: d.log.Named("web"),
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
	d.engine.SetFleet(files.Fleet)
	return nil
}

// polled takes every outcome of a poll.
func (d *Daemon) polled(p collector.Poll) {
	if d.pulse.beat(time.Now()) {
		d.log.Info("first poll", zap.String("unit", p.Unit), zap.Duration("took", time.Since(d.pulse.started)))
	}
	d.book.Observe(p)
	d.engine.Observe(p)
	d.metrics.ObservePoll(p)
	if d.opts.OnPoll != nil {
		d.opts.OnPoll(p)
	}
}

// changed takes every change of the alarm list, in order.
func (d *Daemon) changed(changes []alarms.Change) {
	select {
	case d.unsaved <- struct{}{}:
	default:
	}
	if err := d.dispatcher.Publish(changes); err != nil {
		d.log.Error("publish alarm changes", zap.Error(err))
	}
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
// ended and the alarm list is saved.
func (d *Daemon) Run(ctx context.Context) error {
	defer d.Close()
	f := d.fleet.Load()
	d.log.Info("start", zap.String("version", d.opts.Version), zap.Int("sites", len(f.Sites)), zap.Int("units", len(f.Units)),
		zap.Int("links", len(f.Links)), zap.String("data", d.dir.Path()), zap.String("url", d.URL()))
	group, ctx := errgroup.WithContext(ctx)
	parts := map[string]func(context.Context) error{
		"page and API": d.server.Run, "webhooks": d.dispatcher.Run, "engine": d.engine.Run, "poller": d.poller.Run, "state": d.keep,
	}
	if d.traps != nil {
		parts["traps"] = d.traps.Run
	}
	for name, part := range parts {
		group.Go(func() error {
			if err := part(ctx); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			return nil
		})
	}
	err := errors.Join(group.Wait(), d.save())
	d.log.Info("stop", zap.Error(err))
	return err
}

// Close frees what New opened. Run does it by itself.
func (d *Daemon) Close() {
	d.client.swap(nil)
	if d.server != nil {
		d.server.Close()
	}
	if d.dir != nil {
		d.dir.Close()
	}
}

var _ http.Handler = (*web.Server)(nil)
