package history

import "context"

// Guard is a guard, for tests of clock jumps.
type Guard = guard

// NewGuard returns a guard with the limits of cfg.
func NewGuard(cfg Config) *Guard { return &guard{ahead: cfg.Ahead, settle: cfg.Settle} }

// Limit is limit.
var Limit = (*guard).limit

// WatchDisk looks at the disk now.
func (s *Store) WatchDisk() { s.watchDisk() }

// Compact makes blocks now, and deletes those beyond the limits.
func (s *Store) Compact(ctx context.Context) error { return s.raw.Compact(ctx) }

// Blocks returns the number of finished blocks of readings.
func (s *Store) Blocks() int { return len(s.raw.Blocks()) }
