package main

import (
	"fmt"
	"path/filepath"
	"time"

	"lightwell/cmd/exit"
	"lightwell/collector/backup"
)

type backupCmd struct {
	serverFlags
	outputFlag
	List bool `help:"List the archives that there are, and make none."`
}

// Help is printed by backup --help.
func (backupCmd) Help() string {
	return `Has the running daemon write its state and history into one archive, on its own machine, in the folder that the configuration names, and waits until it is there. Alarms, baselines, operator actions, undelivered webhooks and readings are in it; configuration and secrets are not. It needs the role administer. A state in PostgreSQL is backed up with the tools of PostgreSQL: the archive then holds the history only.

Keep copies on another machine. To restore one: lightwell restore ARCHIVE FOLDER`
}

// askInterval is how often the daemon is asked whether the backup is there.
const askInterval = 500 * time.Millisecond

// Run asks for a backup and waits for it.
func (c backupCmd) Run(s *streams) error {
	api, err := c.client()
	if err != nil {
		return err
	}
	var before, now backup.Status
	if err := api.call(s.ctx, "GET", "backups", nil, nil, &before); err != nil {
		return err
	}
	if c.List {
		return c.print(s, before)
	}
	if err := api.call(s.ctx, "POST", "backup", nil, nil, &now); err != nil {
		return err
	}
	for now.Running {
		select {
		case <-s.ctx.Done():
			return exit.Hinted(errInterrupted, "the daemon goes on with the backup; lightwell backup --list shows it")
		case <-time.After(askInterval):
		}
		if err := api.call(s.ctx, "GET", "backups", nil, nil, &now); err != nil {
			return err
		}
	}
	if now.Fault != "" && now.FaultAt != before.FaultAt {
		return fmt.Errorf("the daemon could not make the backup: %s", now.Fault)
	}
	if len(now.Archives) == 0 || len(before.Archives) > 0 && now.Archives[0] == before.Archives[0] {
		return fmt.Errorf("the daemon stopped before the backup was made")
	}
	if c.Output == "json" {
		return writeJSON(s.out, now.Archives[0])
	}
	_, err = fmt.Fprintf(s.out, "%s  %s\n", filepath.Join(now.Folder, now.Archives[0].Name), bytesText(now.Archives[0].Size))
	return err
}

func (c backupCmd) print(s *streams, status backup.Status) error {
	if c.Output == "json" {
		return writeJSON(s.out, status)
	}
	for _, a := range status.Archives {
		fmt.Fprintf(s.out, "%s  %s\n", filepath.Join(status.Folder, a.Name), bytesText(a.Size))
	}
	if len(status.Archives) == 0 {
		fmt.Fprintf(s.out, "no archives in %s\n", status.Folder)
	}
	if !status.Next.IsZero() {
		fmt.Fprintf(s.out, "next on schedule: %s\n", status.Next.UTC().Format(clock))
	}
	if status.Fault != "" {
		fmt.Fprintf(s.out, "the last one failed at %s: %s\n", status.FaultAt.UTC().Format(clock), status.Fault)
	}
	return nil
}

type restoreCmd struct {
	outputFlag
	Check   bool   `help:"Check the archive and restore nothing."`
	Archive string `arg:"" help:"File that a backup has made."`
	Folder  string `arg:"" optional:"" help:"Data folder to restore into: an empty or a new one."`
}

// Help is printed by restore --help.
func (restoreCmd) Help() string {
	return `Checks the whole archive, then writes its content into an empty folder, for a daemon to be started on with --data. A damaged archive is refused before anything is written. No daemon may run on the folder meanwhile.

Two daemons from one archive have the same identity, and both send what was not yet delivered: stop the first one for good.

Example: lightwell restore lightwell-20261125T021500Z.tar.zst /var/lib/lightwell`
}

// Run restores.
func (c restoreCmd) Run(s *streams) error {
	if (c.Folder == "") != c.Check {
		return exit.Usage(fmt.Errorf("name a folder to restore into, or --check"))
	}
	var m backup.Manifest
	var err error
	if c.Check {
		m, err = backup.Verify(s.ctx, c.Archive)
	} else {
		m, err = backup.Restore(s.ctx, c.Archive, c.Folder)
	}
	if err != nil {
		return err
	}
	if c.Output == "json" {
		return writeJSON(s.out, m)
	}
	what := "checked"
	if !c.Check {
		what = "restored into " + c.Folder
	}
	fmt.Fprintf(s.out, "%s of %s: %d files, %s, %s\n", c.Archive, m.Created.Format(clock), len(m.Files), bytesText(m.Size()), what)
	if !m.State {
		fmt.Fprintln(s.out, "the state is not in it: restore the database with its own tools")
	}
	return nil
}

// bytesText returns a size for people.
func bytesText(n int64) string {
	const unit = 1000
	size, names := float64(n), []string{"bytes", "kB", "MB", "GB", "TB"}
	i := 0
	for ; size >= unit && i < len(names)-1; i++ {
		size /= unit
	}
	if i == 0 {
		return fmt.Sprintf("%d bytes", n)
	}
	return fmt.Sprintf("%.1f %s", size, names[i])
}
