package daemon

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"

	"go.uber.org/zap"
	"golang.org/x/sync/errgroup"

	"lightwell/alarms/notify"
	"lightwell/collector/state"
)

const (
	// StopLimit is how long a stop may take. What has not ended by then is
	// left alone: the daemon starts again as after a kill, which loses nothing
	// that was stored.
	StopLimit = 10 * time.Second
	// writesEnd is when, after the begin of a stop, the state is written no
	// more: a database that hangs must not hold up everything that waits
	// behind it.
	writesEnd = 7 * time.Second
)

// roll is who has not ended yet.
type roll struct {
	mu    sync.Mutex
	names map[string]bool
}

func (r *roll) set(name string, runs bool) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.names[name] = runs; !runs {
		delete(r.names, name)
	}
}

func (r *roll) String() string {
	r.mu.Lock()
	defer r.mu.Unlock()
	return strings.Join(slices.Sorted(maps.Keys(r.names)), ", ")
}

// run starts all parts in group.
func (r *roll) run(ctx context.Context, group *errgroup.Group, parts map[string]func(context.Context) error) {
	for name, part := range parts {
		r.set(name, true)
		group.Go(func() error {
			defer r.set(name, false)
			if err := part(ctx); err != nil {
				return fmt.Errorf("%s: %w", name, err)
			}
			return nil
		})
	}
}

// wait waits for the parts in group and finishes what they began, for no
// longer than StopLimit after ctx, which is that of the group.
func (d *Daemon) wait(ctx context.Context, group *errgroup.Group, running *roll) error {
	ended := make(chan error, 1)
	go func() {
		err := group.Wait()
		running.set("last writes", true)
		d.finish(err)
		ended <- err
	}()
	<-ctx.Done()
	defer time.AfterFunc(writesEnd, d.keep.end).Stop()
	limit := time.NewTimer(StopLimit)
	defer limit.Stop()
	select {
	case err := <-ended:
		return err
	case <-limit.C:
		err := fmt.Errorf("stop: not ended within %s: %s", StopLimit, running)
		d.log.Error("left as after a kill", zap.Error(err))
		return err
	}
}

// finish stores what the parts have left and closes everything.
func (d *Daemon) finish(err error) {
	d.closeTrends()
	d.keep.Record(state.AuditRow{Time: time.Now(), Who: system, What: lineStopped})
	d.log.Info("stop", zap.Error(err))
	d.Close()
}

// outboxRows are the rows of the outbox until the end of writing.
type outboxRows struct{ *keeper }

var _ notify.Rows = outboxRows{}

// within returns ctx, ended at the end of writing at the latest.
func (k *keeper) within(ctx context.Context) (context.Context, context.CancelFunc) {
	ctx, cancel := context.WithCancel(ctx)
	stop := context.AfterFunc(k.life, cancel)
	return ctx, func() { stop(); cancel() }
}

// AppendOutbox implements notify.Rows.
func (o outboxRows) AppendOutbox(ctx context.Context, rows ...state.OutboxRow) error {
	ctx, cancel := o.within(ctx)
	defer cancel()
	return o.store.AppendOutbox(ctx, rows...)
}

// DueOutbox implements notify.Rows.
func (o outboxRows) DueOutbox(ctx context.Context, endpoint string, now time.Time, limit int) ([]state.OutboxRow, time.Time, error) {
	ctx, cancel := o.within(ctx)
	defer cancel()
	return o.store.DueOutbox(ctx, endpoint, now, limit)
}

// UpdateOutbox implements notify.Rows.
func (o outboxRows) UpdateOutbox(ctx context.Context, rows ...state.OutboxRow) error {
	ctx, cancel := o.within(ctx)
	defer cancel()
	return o.store.UpdateOutbox(ctx, rows...)
}

// ListOutbox implements notify.Rows.
func (o outboxRows) ListOutbox(ctx context.Context, endpoint, of string, limit int) ([]state.OutboxRow, error) {
	ctx, cancel := o.within(ctx)
	defer cancel()
	return o.store.ListOutbox(ctx, endpoint, of, limit)
}

// CountOutbox implements notify.Rows.
func (o outboxRows) CountOutbox(ctx context.Context, endpoint string) (state.OutboxCount, error) {
	ctx, cancel := o.within(ctx)
	defer cancel()
	return o.store.CountOutbox(ctx, endpoint)
}
