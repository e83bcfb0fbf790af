package history

import (
	"context"
	"time"

	"github.com/prometheus/prometheus/model/labels"

	"lightwell/collector"
)

// Guard is a guard, for tests of clock jumps.
type Guard = guard

// NewGuard returns a guard with the limits of cfg.
func NewGuard(cfg Config) *Guard { return &guard{ahead: cfg.Ahead, settle: cfg.Settle} }

// Limit is limit.
var Limit = (*guard).limit

// WatchDisk looks at the disk now.
func (s *Store) WatchDisk() { s.watchDisk() }

// WatchHealth looks at the disk's health now.
func (s *Store) WatchHealth() { s.watchHealth() }

// WatchLog measures the write-ahead log now.
func (s *Store) WatchLog(now time.Time) { s.watchLog(now) }

// Begin makes the store as old as that.
func (s *Store) Begin(at time.Time) { s.started = at }

// Compact makes blocks now, and deletes those beyond the limits.
func (s *Store) Compact(ctx context.Context) error { return s.raw.Compact(ctx) }

// Blocks returns the number of finished blocks of readings.
func (s *Store) Blocks() int { return len(s.raw.Blocks()) }

// FillHours writes hourly sums of points of a unit, as RollUp does.
func (s *Store) FillHours(unit string, points []collector.Point, from, to time.Time, value func(int) float64) error {
	b := labels.NewBuilder(labels.EmptyLabels())
	for at, n := from, 0; at.Before(to); at, n = at.Add(time.Hour), n+1 {
		app := s.hourly.AppenderV2(context.Background())
		for i, p := range points {
			v := value(n + i)
			if err := appendHour(app, b, rawLabels(seriesKey{unit, p}), Sample{at, v, v - 0.2, v + 0.1, 60}); err != nil {
				return err
			}
		}
		if err := app.Commit(); err != nil {
			return err
		}
		s.rolled.Store(at.Add(time.Hour).UnixMilli())
	}
	return s.hourly.Compact(context.Background())
}
