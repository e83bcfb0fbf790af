package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	"time"

	systemd "github.com/coreos/go-systemd/v22/daemon"
	"go.uber.org/zap"
	"golang.org/x/sync/errgroup"

	"lightwell/cmd/exit"
	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
)

type runCmd struct {
	configFlag
	Listen string `help:"Listen here instead of where the configuration says." placeholder:"HOST:PORT"`
	Data   string `help:"Keep data here instead of where the configuration says." placeholder:"DIR"`
}

// Help is printed by run --help.
func (runCmd) Help() string {
	return `Polls the fleet, raises alarms, and serves page, API and metrics until it is told to stop (SIGINT, SIGTERM). SIGHUP reads configuration, models and fleet files again; when one of them is at fault the running configuration stays in force and the faults are logged.

Example: lightwell run --config /etc/lightwell/lightwell.yaml --data /var/lib/lightwell`
}

// Run runs the daemon.
func (c runCmd) Run(s *streams) error {
	cfg, files, err := c.load()
	if err != nil {
		return err
	}
	log := newLogger(s.errOut, cfg.LogLevel)
	d, err := daemon.New(daemon.Options{Config: cfg, Files: files, Version: resolveVersion(), Log: log})
	if err != nil {
		return err
	}
	fmt.Fprintf(s.out, "page, API and metrics: %s\n", d.URL())
	group, ctx := errgroup.WithContext(s.ctx)
	group.Go(func() error { return d.Run(ctx) })
	group.Go(func() error { return c.reloads(ctx, d, log) })
	group.Go(func() error { return supervised(ctx, d, log) })
	return group.Wait()
}

func (c runCmd) load() (config.Config, daemon.Files, error) {
	cfg, files, err := loadAll(c.Config)
	if err != nil {
		return cfg, files, err
	}
	if c.Listen != "" {
		cfg.Listen = c.Listen
		if err := cfg.CheckListen(); err != nil {
			return cfg, files, exit.Usage(err)
		}
	}
	if c.Data != "" {
		cfg.Data = c.Data
	}
	return cfg, files, nil
}

// reloads reads the files again at each SIGHUP.
func (c runCmd) reloads(ctx context.Context, d *daemon.Daemon, log *zap.Logger) error {
	hup := make(chan os.Signal, 1)
	signal.Notify(hup, syscall.SIGHUP)
	defer signal.Stop(hup)
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-hup:
		}
		tellSupervisor(log, systemd.SdNotifyReloading+"\n"+systemd.SdNotifyMonotonicUsec())
		cfg, files, err := c.load()
		if err == nil {
			err = d.Reload(cfg, files)
		}
		d.Reloaded(err)
		tellSupervisor(log, systemd.SdNotifyReady)
	}
}

// supervised tells systemd, where it watches us, that the daemon is ready,
// alive and stopping.
func supervised(ctx context.Context, d *daemon.Daemon, log *zap.Logger) error {
	every, err := systemd.SdWatchdogEnabled(false)
	if err != nil {
		log.Warn("read watchdog interval", zap.Error(err))
	}
	tellSupervisor(log, systemd.SdNotifyReady)
	defer tellSupervisor(log, systemd.SdNotifyStopping)
	if every == 0 {
		<-ctx.Done()
		return nil
	}
	tick := time.NewTicker(every / 2)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
			if d.Alive() {
				tellSupervisor(log, systemd.SdNotifyWatchdog)
			}
		}
	}
}

func tellSupervisor(log *zap.Logger, state string) {
	if _, err := systemd.SdNotify(false, state); err != nil {
		log.Warn("notify systemd", zap.Error(err))
	}
}
