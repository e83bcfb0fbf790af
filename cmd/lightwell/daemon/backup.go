package daemon

import (
	"path/filepath"
	"time"

	"lightwell/collector"
	"lightwell/collector/backup"
)

// backupFolder is where archives are when the configuration names no folder.
const backupFolder = "backups"

// openBackups makes what writes archives of state and history.
func (d *Daemon) openBackups() (err error) {
	cfg, data := d.opts.Config.Backup, d.opts.Config.Data
	to := backup.Config{Folder: cfg.Folder, Keep: cfg.Keep}
	if to.Folder == "" {
		to.Folder = filepath.Join(data, backupFolder)
	}
	if cfg.Schedule != "" {
		if to.Schedule, err = collector.ParseSchedule(cfg.Schedule, time.Local); err != nil {
			return err
		}
	}
	from := backup.Sources{Data: data, Program: d.opts.Version, History: d.past.snapshot()}
	if d.opts.Config.Postgres.Empty() {
		from.State = d.keep.store.Backup
	}
	d.backups = backup.NewKeeper(to, from, d.log.Named("backup"))
	return nil
}
