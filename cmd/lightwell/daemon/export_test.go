package daemon

import (
	"context"
	"time"

	"lightwell/collector/state"
)

// Look judges the daemon itself as if the clock said now.
func (d *Daemon) Look(now time.Time, elapsed time.Duration) { d.look(now, elapsed) }

// Tidy forgets what is old and counts what is left.
func (d *Daemon) Tidy(ctx context.Context) { d.tidy(ctx) }

// Rows returns the rows of a table when they were counted last.
func (d *Daemon) Rows(table string) int { return int(d.watch.size.Load().Rows[table]) }

// Outbox lists messages of an endpoint in a state.
func (d *Daemon) Outbox(endpoint, s string) ([]state.OutboxRow, error) {
	return d.keep.store.ListOutbox(context.Background(), endpoint, s, 0)
}
