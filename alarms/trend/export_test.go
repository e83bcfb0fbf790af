package trend

import "context"

// CatchUp and Write are what Run does in its time.
func (k *Keeper) CatchUp(ctx context.Context) { k.catchUp(ctx) }

// Write stores what waits.
func (k *Keeper) Write(ctx context.Context) error { return k.write(ctx) }
