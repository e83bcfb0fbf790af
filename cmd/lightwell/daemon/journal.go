package daemon

import (
	"context"
	"encoding/json"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms/brief"
	"lightwell/alarms/web"
	"lightwell/collector/state"
)

// Kinds of lines that the daemon itself writes into the log of changes.
const (
	lineStarted  = brief.LineStarted
	lineRefined  = "baseline refined"
	lineStopped  = brief.LineStopped
	lineReloaded = "reloaded"
	lineRefused  = "reload-refused"
)

// system is who did what no person did.
const system = "daemon"

var _ web.Journal = (*keeper)(nil)

// lastAlive is the body of the line that tells of a start: when the daemon
// before wrote last, so that the time in which nobody watched is known.
func lastAlive(ctx context.Context, store *state.Store) ([]byte, error) {
	var body brief.Started
	if _, err := store.Load(ctx, aliveDocument, &body.LastAlive); err != nil {
		return nil, err
	}
	return json.Marshal(body)
}

// Record implements web.Journal. A line that cannot be written waits.
func (k *keeper) Record(r state.AuditRow) {
	k.mu.Lock()
	k.journal = append(k.journal, r)
	failing := k.fault != nil
	k.mu.Unlock()
	if !failing {
		k.flush()
	}
}

// flush writes the lines that wait, in their order.
func (k *keeper) flush() {
	k.flushing.Lock()
	defer k.flushing.Unlock()
	for {
		k.mu.Lock()
		waiting := k.journal
		k.mu.Unlock()
		if len(waiting) == 0 {
			return
		}
		line := waiting[0]
		if err := k.write(func(ctx context.Context) error { return k.store.AppendAudit(ctx, line) }); err != nil {
			k.log.Error("write log of changes; will try again", zap.String("kind", line.What), zap.Error(err))
			return
		}
		k.mu.Lock()
		k.journal = k.journal[1:]
		k.mu.Unlock()
	}
}

// Changes implements web.Journal.
func (k *keeper) Changes(ctx context.Context, f state.Filter) ([]state.ChangeRow, error) {
	return k.store.Changes(ctx, f)
}

// run proves at intervals that the state can be written, and writes what
// waits, until ctx ends.
func (k *keeper) run(ctx context.Context) error {
	tick := time.NewTicker(proofInterval)
	defer tick.Stop()
	for {
		k.prove()
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

func (k *keeper) prove() {
	before := k.problem(time.Now())
	err := k.write(func(ctx context.Context) error { return k.store.Save(ctx, aliveDocument, time.Now().UTC()) })
	switch {
	case err != nil && before == nil:
		k.log.Error("the state cannot be written; polling and alarms go on, operator actions are refused", zap.Error(err))
	case err == nil:
		k.flush()
	}
}
