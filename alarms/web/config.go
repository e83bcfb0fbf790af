// Package web is the page and the HTTP API: fleet, sites, units and alarms,
// live, and what people do with them. Handlers only ask; what is shown comes
// from package view, who may do what from package access.
//
// It guarantees that nothing is changed without a signed-in person whose name
// is recorded, that no secret is ever sent, and that the page asks nobody but
// this server for anything. Its data come from the sources in Config. Paths
// and field names under /api/v1 stay as they are within version 1.
package web

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"net/netip"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/alarms/notify"
	"lightwell/alarms/web/access"
	"lightwell/collector"
	"lightwell/collector/history"
	"lightwell/collector/state"
)

// AlarmList is the alarm list as the page needs it.
type AlarmList interface {
	Alarms(alarms.Filter) []alarms.Alarm
	Alarm(id string) (alarms.Alarm, bool)
	Summary() alarms.Summary
	// Act does one action, by its verb, with many alarms; each is judged by
	// itself.
	Act(verb string, targets []alarms.Target, op alarms.Operation) ([]alarms.Outcome, error)
	Purge(f alarms.Filter, op alarms.Operation) (int, error)
	Compress(f alarms.Filter, op alarms.Operation) (int, error)
	Shelves() []alarms.Shelf
	PutShelf(s alarms.Shelf, op alarms.Operation) error
	RemoveShelf(name string, op alarms.Operation) error
}

// Engine tells how the units stand.
type Engine interface {
	Units() []alarms.UnitView
	Findings(site string) []alarms.Finding
	Events(limit int) []alarms.Event
	Load(now time.Time) alarms.LoadFigures
	// Subscribe returns a channel that has a value whenever something has
	// changed since the last receive, and a function that ends it.
	Subscribe() (<-chan struct{}, func())
	Version() uint64
}

// Baselines is the book of baselines.
type Baselines interface {
	Begin(units []string, by string, now time.Time) error
	Show(unit string, now time.Time) baseline.Capture
	Accept(units []string, by, reason string, force bool, now time.Time) error
	State(unit string) string
	History(unit string) []baseline.Record
	Refinements(unit string) []baseline.Refinement
}

// Poller polls a unit out of turn; false: too many requests wait already.
type Poller interface {
	PollNow(unit string) bool
}

// Calendar tells the planned work in force at one of the resources.
type Calendar interface {
	During(resources []string, now time.Time) (collector.PlannedWork, bool)
}

// Webhooks is what waits for the receivers of webhooks.
type Webhooks interface {
	Stats() []notify.Stats
	// Entries returns the pending and dead messages of an endpoint, oldest
	// first.
	Entries(endpoint string) ([]notify.Entry, error)
	// Resend makes dead messages pending again, all or those with the ids
	// given, and returns how many.
	Resend(endpoint string, ids ...string) (int, error)
	// Drop forgets dead messages, all or those with the ids given.
	Drop(endpoint string, ids ...string) (int, error)
	// Resume lets an endpoint be sent to again that answered 410.
	Resume(endpoint string) error
}

// Journal is the log of changes: of alarms, and of what people do beside.
type Journal interface {
	// Record writes a line, now or when the store can be written again.
	Record(state.AuditRow)
	// Changes returns lines, newest first.
	Changes(ctx context.Context, f state.Filter) ([]state.ChangeRow, error)
}

// Config holds the sources and settings of a Server. Alarms, Engine,
// Baselines, Poller, Fleet and Log are needed.
type Config struct {
	Alarms    AlarmList
	Engine    Engine
	Baselines Baselines
	Poller    Poller
	Calendar  Calendar       // nil: no planned work
	Webhooks  Webhooks       // nil: there are none
	History   history.Source // nil: none is kept
	Visits    Visits         // nil: none are recorded
	Journal   Journal        // nil: nothing is recorded, and there is no log to read
	Backups   Backups        // nil: none are made here
	Sessions  SessionStore   // nil: a restart signs browsers out
	Fleet     func() *collector.Fleet
	Types     []alarms.Type // the alarm inventory
	Tokens    []access.Token
	Hosts     []string     // further names of this machine, for use without tokens
	WebConfig string       // file that sets up TLS; empty: plain HTTP
	Metrics   http.Handler // served at /metrics; nil: not served
	// MetricsOpen serves /metrics without sign-in, for collectors that have
	// no token.
	MetricsOpen bool
	Ready       func() error // why the daemon is not ready; nil: always ready
	Unwritten   func() error // why what happens is not stored; nil: it always is
	Version     string       // of the program, for the OpenAPI document
	Log         *zap.Logger
}

// Validate returns all faults joined. listen is the address to listen at:
// without tokens only this machine may be able to reach it.
func (c Config) Validate(listen string) error {
	faults := []error{access.Check(c.Tokens)}
	host, _, err := net.SplitHostPort(listen)
	switch {
	case err != nil:
		faults = append(faults, fmt.Errorf("listen address %q: use host:port, such as 127.0.0.1:8420", listen))
	case len(c.Tokens) == 0 && !loopback(host):
		faults = append(faults, fmt.Errorf("listen address %q: other machines can reach it and no token is configured; configure a token, or listen on 127.0.0.1", listen))
	}
	return errors.Join(faults...)
}

func loopback(host string) bool {
	if host == "localhost" {
		return true
	}
	addr, err := netip.ParseAddr(host)
	return err == nil && addr.Unmap().IsLoopback()
}
