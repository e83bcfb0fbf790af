package daemon

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"go.uber.org/zap"

	"lightwell/cmd/lightwell/config"
	"lightwell/collector/document"
	"lightwell/collector/inventory"
	"lightwell/collector/state"
)

// Reload puts new files and a new configuration in force while the daemon
// runs: fleet, models, schedules, credentials, webhooks, tokens and planned
// work. What else has changed takes effect at the next start, and the log
// says so. With an error everything stays as it was.
func (d *Daemon) Reload(cfg config.Config, files Files) error {
	if err := d.server.CheckTokens(cfg.Tokens); err != nil {
		return err
	}
	before, old := d.opts.Config, d.fleet.Load()
	d.opts.Config = cfg
	if err := d.use(files); err != nil {
		d.opts.Config = before
		return err
	}
	if err := errors.Join(d.dispatcher.SetEndpoints(cfg.Webhooks), d.server.SetTokens(cfg.Tokens)); err != nil {
		return err
	}
	difference := inventory.Compare(old, files.Fleet)
	detail := difference.String()
	if keys := cfg.NeedRestart(d.running); len(keys) > 0 {
		detail += "; at the next start: " + strings.Join(keys, ", ")
	}
	d.log.Info("reloaded", zap.Stringer("difference", difference))
	d.keep.Record(state.AuditRow{Time: time.Now(), Who: system, From: cfg.File, What: lineReloaded, Detail: detail})
	if keys := cfg.NeedRestart(d.running); len(keys) > 0 {
		d.log.Warn("reload: these keys take effect at the next start only", zap.Strings("keys", keys))
	}
	return nil
}

// maxLoggedFaults bounds what a hopeless file writes into the log; `check`
// shows all.
const maxLoggedFaults = 20

// refusal tells why a reload was refused, in one line.
func refusal(err error) string {
	var faults document.Faults
	if !errors.As(err, &faults) {
		return strings.Join(strings.Fields(err.Error()), " ")
	}
	sorted := faults.Sorted()
	parts := make([]string, 0, maxLoggedFaults+1)
	for i, f := range sorted {
		if i == maxLoggedFaults {
			parts = append(parts, fmt.Sprintf("and %d more", len(sorted)-i))
			break
		}
		parts = append(parts, f.Error())
	}
	return fmt.Sprintf("%d faults: %s", len(sorted), strings.Join(parts, " | "))
}

// Reloaded records how a reload went, for the log and the metrics.
func (d *Daemon) Reloaded(err error) {
	d.metrics.ObserveReload(err == nil, time.Now())
	if err == nil {
		return
	}
	d.keep.Record(state.AuditRow{Time: time.Now(), Who: system, From: d.opts.Config.File, What: lineRefused, Detail: refusal(err)})
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
