package daemon

import (
	"errors"
	"time"

	"go.uber.org/zap"

	"lightwell/cmd/lightwell/config"
	"lightwell/collector/document"
	"lightwell/collector/inventory"
	"lightwell/collector/state"
)

// Reload puts new files and a new configuration in force while the daemon
// runs: fleet, models, schedules, credentials, webhooks and planned work.
// Listener, data folder and tokens stay until the next start. With an error
// everything stays as it was.
func (d *Daemon) Reload(cfg config.Config, files Files) error {
	before, old := d.opts.Config, d.fleet.Load()
	d.opts.Config = cfg
	if err := d.use(files); err != nil {
		d.opts.Config = before
		return err
	}
	if err := d.dispatcher.SetEndpoints(cfg.Webhooks); err != nil {
		return err
	}
	difference := inventory.Compare(old, files.Fleet)
	d.log.Info("reloaded", zap.Stringer("difference", difference))
	d.keep.Record(state.AuditRow{Time: time.Now(), Who: system, From: cfg.File, What: lineReloaded, Detail: difference.String()})
	if before.Listen != cfg.Listen || before.Data != cfg.Data || len(before.Tokens) != len(cfg.Tokens) {
		d.log.Warn("listen, data and tokens take effect at the next start")
	}
	return nil
}

// maxLoggedFaults bounds what a hopeless file writes into the log; `check`
// shows all.
const maxLoggedFaults = 20

// Reloaded records how a reload went, for the log and the metrics.
func (d *Daemon) Reloaded(err error) {
	d.metrics.ObserveReload(err == nil, time.Now())
	if err == nil {
		return
	}
	d.keep.Record(state.AuditRow{Time: time.Now(), Who: system, From: d.opts.Config.File, What: lineRefused, Detail: err.Error()})
	var faults document.Faults
	if !errors.As(err, &faults) {
		d.log.Error("reload: the running configuration stays in force", zap.Error(err))
		return
	}
	d.log.Error("reload: the running configuration stays in force", zap.Int("faults", len(faults)))
	for i, f := range faults.Sorted() {
		if i == maxLoggedFaults {
			d.log.Error("reload: further faults are not listed here; the command check shows all")
			return
		}
		d.log.Error("reload: fault", zap.Error(f))
	}
}
