// Package config reads lightwell.yaml: where the daemon listens and keeps its
// data, which fleet files it serves, how it asks the units, whom it tells and
// whom it lets in. Unknown keys are faults; every fault is reported at once
// with file, line, column and remedy. Secrets come from files or from the
// environment only, and print as a placeholder.
//
// Promise: a key keeps its name and meaning; one that must go is accepted
// with a warning for one release.
package config

import (
	"fmt"
	"path/filepath"
	"slices"
	"time"

	"lightwell/alarms/notify"
	"lightwell/alarms/web"
	"lightwell/alarms/web/access"
	"lightwell/collector"
	"lightwell/collector/document"
	"lightwell/collector/history"
	"lightwell/collector/snmp"
)

// Config is the daemon's configuration with every default filled in, every
// path made absolute and every secret read.
type Config struct {
	File          string   // "" when it did not come from a file
	Listen        string   // host:port of page, API and metrics
	Hosts         []string // further names of this machine, for use without tokens
	WebConfig     string   // file that sets up TLS; "": plain HTTP
	Traps         string   // host:port where traps are listened for; "": nowhere
	Data          string
	Postgres      collector.Secret // connection string of the database of the state; empty: a file in Data
	Fleet         []string         // fleet files
	Models        string           // folder of the user's own models; "" when there is none
	Poll          string           // schedule of units that name none
	MinPoll       time.Duration
	PerSite       int // requests under way at one site
	SNMP          snmp.Config
	Credentials   map[string]snmp.Credentials
	Webhooks      []notify.Endpoint
	Tokens        []access.Token
	MetricsOpen   bool // /metrics needs no token
	Commissioning Commissioning
	History       History
	Backup        Backup
	Retention     Retention
	LogLevel      string
	file          *document.File // for faults found later; nil when it came from none
}

// Commissioning says what a baseline capture needs before it can be accepted.
type Commissioning struct {
	Polls int
	Over  time.Duration
}

// Backup says where archives of state and history are kept.
type Backup struct {
	Folder   string // "": backups, in Data
	Schedule string // in the zone of the machine; "": only when asked
	Keep     int    // how many of those made on schedule stay
}

// Defaults.
const (
	DefaultListen  = "127.0.0.1:8420"
	DefaultPoll    = "@every 1m"
	DefaultMinPoll = time.Second

	DefaultBackup     = "15 2 * * *" // where there is a backup block that names no schedule
	DefaultBackupKeep = 7
)

// Default returns a configuration that works for everything but what it
// cannot know: fleet files, credentials, receivers.
func Default() Config {
	return Config{
		Listen:        DefaultListen,
		Data:          "lightwell-data",
		Poll:          DefaultPoll,
		MinPoll:       DefaultMinPoll,
		PerSite:       collector.DefaultPerSite,
		SNMP:          snmp.Default(),
		Credentials:   map[string]snmp.Credentials{},
		Commissioning: Commissioning{Polls: 10, Over: 5 * time.Minute},
		History:       History{Local: history.Default("history")},
		Retention:     Retention{Changes: DefaultChanges, DeadLetters: DefaultDeadLetters},
		LogLevel:      "info",
	}
}

// Load reads the configuration at path. The error is document.Faults when the
// content is at fault. getenv is os.Getenv but for tests.
func Load(path string, getenv func(string) string) (Config, error) {
	file, faults := document.Read(path)
	if file == nil {
		return Config{}, faults.Err()
	}
	abs, err := filepath.Abs(path)
	if err != nil {
		return Config{}, err
	}
	l := loader{file: file, folder: filepath.Dir(abs), getenv: getenv, faults: faults, cfg: Default()}
	l.cfg.File, l.cfg.file = abs, file
	l.load()
	return l.cfg, l.faults.Err()
}

// CheckListen returns what is wrong with the tokens, and refuses an address
// that other machines can reach when there are none.
func (c Config) CheckListen() error {
	return web.Config{Tokens: c.Tokens}.Validate(c.Listen)
}

// CheckNames returns a fault for each alarm type and site that a webhook
// names and that does not exist.
func (c Config) CheckNames(types []string, fleet *collector.Fleet) document.Faults {
	var faults document.Faults
	if c.file == nil {
		return nil
	}
	for i, w := range c.Webhooks {
		for j, name := range w.Types {
			if !slices.Contains(types, name) {
				faults = append(faults, c.file.Fault(fmt.Sprintf("$.webhooks[%d].types[%d]", i, j), document.Nearest(name, types), "webhook %q: unknown alarm type %q", w.Name, name))
			}
		}
		for j, id := range w.Sites {
			if _, ok := fleet.Site(id); !ok {
				faults = append(faults, c.file.Fault(fmt.Sprintf("$.webhooks[%d].sites[%d]", i, j), "use the id of a site in the fleet file", "webhook %q: unknown site %q", w.Name, id))
			}
		}
	}
	return faults
}
