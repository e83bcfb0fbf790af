package trend

import (
	"context"
	"errors"
	"sync"
	"time"

	"go.uber.org/zap"

	"lightwell/collector/state"
)

const (
	writeEvery = 5 * time.Second // between looks at what waits to be stored
	writeBatch = 200             // rows of one transaction: some 100 kB
	groupEvery = time.Hour       // between writes of what the groups have learnt
)

// queue holds rows until they are stored: the newest of each name.
type queue struct {
	mu   sync.Mutex
	rows map[string][]byte
}

func (q *queue) add(name string, body []byte) {
	q.mu.Lock()
	defer q.mu.Unlock()
	if q.rows == nil {
		q.rows = map[string][]byte{}
	}
	q.rows[name] = body
}

// take takes at most n rows.
func (q *queue) take(n int) []state.TrendRow {
	q.mu.Lock()
	defer q.mu.Unlock()
	out := make([]state.TrendRow, 0, min(n, len(q.rows)))
	for name, body := range q.rows {
		if len(out) == n {
			break
		}
		out = append(out, state.TrendRow{Name: name, Body: body})
		delete(q.rows, name)
	}
	return out
}

// back puts rows back, those apart that have a newer one.
func (q *queue) back(rows []state.TrendRow) {
	q.mu.Lock()
	defer q.mu.Unlock()
	for _, r := range rows {
		if _, newer := q.rows[r.Name]; !newer {
			q.rows[r.Name] = r.Body
		}
	}
}

// Waiting returns how many rows wait to be stored.
func (k *Keeper) Waiting() int {
	k.waiting.mu.Lock()
	defer k.waiting.mu.Unlock()
	return len(k.waiting.rows)
}

// keep has the state of a unit stored soon. Its site is locked.
func (k *Keeper) keep(u *unit) {
	if k.cfg.Store != nil {
		u.kept = true
		k.waiting.add(unitRow+u.id, u.state())
	}
}

// Run catches up with what history knows, forecasts, and stores what days
// bring, until ctx ends. It waits for disks; Observe never does.
func (k *Keeper) Run(ctx context.Context) error {
	write, groups := time.NewTicker(writeEvery), time.NewTicker(groupEvery)
	defer write.Stop()
	defer groups.Stop()
	for {
		k.catchUp(ctx)
		k.forecast(ctx)
		select {
		case <-ctx.Done():
			return nil
		case <-write.C:
			k.write(ctx)
		case <-groups.C:
			k.queueGroups()
		}
	}
}

func (k *Keeper) queueGroups() {
	if k.cfg.Store == nil {
		return
	}
	rows, err := k.groups.rows()
	if err != nil {
		k.cfg.Log.Error("store groups", zap.Error(err))
		return
	}
	for _, r := range rows {
		k.waiting.add(r.Name, r.Body)
	}
	k.groups.wrote()
}

// write stores what waits, batch by batch. What the store refuses goes on
// waiting.
func (k *Keeper) write(ctx context.Context) error {
	for ctx.Err() == nil {
		rows := k.waiting.take(writeBatch)
		if len(rows) == 0 {
			return nil
		}
		if err := k.cfg.Store.SaveTrends(ctx, rows); err != nil {
			k.waiting.back(rows)
			k.cfg.Log.Warn("trends wait to be stored", zap.Int("rows", k.Waiting()), zap.Error(err))
			return err
		}
	}
	return ctx.Err()
}

// Close stores what is known of all units. Run and the last Observe must have
// returned. With a history the rows of the last day's end are left: together
// with the readings since they tell more than a row of the middle of a day.
func (k *Keeper) Close(ctx context.Context) error {
	if k.cfg.Store == nil {
		return nil
	}
	k.queueGroups()
	k.mu.RLock()
	for _, u := range k.layout.units {
		u.at.mu.Lock()
		if u.seen > 0 && (k.cfg.History == nil || !u.kept) {
			k.keep(u)
		}
		u.at.mu.Unlock()
	}
	k.mu.RUnlock()
	if err := k.write(ctx); err != nil {
		return errors.Join(errors.New("trends are not stored as of now"), err)
	}
	return nil
}
