package trend

import (
	"context"
	"time"
)

// CatchUp and Write are what Run does in its time.
func (k *Keeper) CatchUp(ctx context.Context) { k.catchUp(ctx) }

// Write stores what waits.
func (k *Keeper) Write(ctx context.Context) error { return k.write(ctx) }

// Jump has the next polls of a keeper come by a clock that is off by so much
// from the time that passes.
func (k *Keeper) Jump(off time.Duration) {
	k.clock.mu.Lock()
	defer k.clock.mu.Unlock()
	k.clock.began = k.clock.began.Add(off)
}
