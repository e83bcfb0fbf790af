package history

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/storage"
	"github.com/prometheus/prometheus/tsdb"
	"github.com/prometheus/prometheus/tsdb/chunkenc"
)

// lastTime returns the time of a database's newest sample, and a time before
// all others when it has none.
func lastTime(db *tsdb.DB) int64 {
	last := int64(math.MinInt64)
	if h := db.Head(); h.MinTime() <= h.MaxTime() {
		last = h.MaxTime()
	}
	for _, b := range db.Blocks() {
		last = max(last, b.MaxTime()-1)
	}
	return last
}

func firstTime(db *tsdb.DB) int64 {
	first := db.Head().MinTime()
	for _, b := range db.Blocks() {
		first = min(first, b.MinTime())
	}
	return first
}

// resume finds the hour to go on with: the last one that is there, which a
// kill may have left half written, or the first one with readings.
func (s *Store) resume() {
	if last := lastTime(s.hourly); last > math.MinInt64 {
		s.rolled.Store(floor(last, hourMS))
	} else {
		s.rolled.Store(math.MinInt64)
	}
}

// RollUp sums up every hour that has ended long enough before now and is not
// summed up yet.
func (s *Store) RollUp(ctx context.Context, now time.Time) error {
	if err := s.rollUp(ctx, now); err != nil {
		return err
	}
	s.forget(now.Add(-24 * time.Hour))
	return ctx.Err()
}

func (s *Store) rollUp(ctx context.Context, now time.Time) error {
	end, ok := s.use.begin()
	if !ok {
		return ErrAbandoned
	}
	defer end()
	first, last := firstTime(s.raw), lastTime(s.raw)
	if first > last {
		return nil
	}
	until := min(now.Add(-s.cfg.RollDelay).UnixMilli(), floor(last, hourMS)+hourMS)
	for hour := max(s.rolled.Load(), floor(first, hourMS)); hour+hourMS <= until; hour += hourMS {
		if err := s.rollHour(ctx, hour); err != nil {
			return fmt.Errorf("sum up the hour %s: %w", time.UnixMilli(hour).UTC().Format(time.RFC3339), err)
		}
		s.rolled.Store(hour + hourMS)
	}
	return nil
}

func (s *Store) rollHour(ctx context.Context, hour int64) error {
	app := s.hourly.AppenderV2(ctx)
	all := labels.MustNewMatcher(labels.MatchNotEqual, unitLabel, "")
	b := labels.NewBuilder(labels.EmptyLabels())
	var values []float64
	err := each(ctx, s.raw, hour, hour+hourMS, []*labels.Matcher{all}, func(l labels.Labels, it chunkenc.Iterator) error {
		values = values[:0]
		for it.Next() == chunkenc.ValFloat {
			_, v := it.At()
			values = append(values, v)
		}
		if len(values) == 0 {
			return it.Err()
		}
		if err := appendHour(app, b, l, sum(hour, values)); err != nil {
			return err
		}
		return it.Err()
	})
	if err != nil {
		return errors.Join(err, app.Rollback())
	}
	return app.Commit()
}

// appendHour writes the four sums of an hour of the series l.
func appendHour(app storage.AppenderV2, b *labels.Builder, l labels.Labels, h Sample) error {
	for _, stat := range [...]struct {
		name  string
		value float64
	}{{"median", h.Value}, {"min", h.Min}, {"max", h.Max}, {"count", float64(h.Count)}} {
		b.Reset(l)
		_, err := app.Append(0, b.Set(statLabel, stat.name).Labels(), 0, h.Time.UnixMilli(), stat.value, nil, nil, storage.AOptions{})
		if err != nil && !refused(err) { // refused: summed up before a restart, and again with late readings
			return err
		}
	}
	return nil
}

func refused(err error) bool {
	return errors.Is(err, storage.ErrOutOfOrderSample) || errors.Is(err, storage.ErrOutOfBounds) ||
		errors.Is(err, storage.ErrTooOldSample) || errors.Is(err, storage.ErrDuplicateSampleForTimestamp)
}
