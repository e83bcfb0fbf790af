package history

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"time"

	"github.com/prometheus/common/model"
	"github.com/prometheus/prometheus/model/labels"
	"github.com/prometheus/prometheus/storage"
	"go.uber.org/zap"

	"lightwell/collector"
)

// Names of labels. The name of a series is its quantity.
const (
	unitLabel = "unit"
	portLabel = "port"
	statLabel = "stat"
)

type seriesKey struct {
	unit  string
	point collector.Point
}

// handle is how the database knows a series.
type handle struct {
	labels labels.Labels
	ref    storage.SeriesRef
	last   time.Time // of the last reading
}

// ErrFull: the disk is so full that no reading is written.
var ErrFull = errors.New("the disk is almost full, readings are not kept: make room")

// Write writes the good readings of polls in one go. After an error none of
// them is kept. Readings that history refuses are no error: Stats counts them.
func (s *Store) Write(polls ...collector.Poll) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	good := 0
	for _, p := range polls {
		good += len(p.Readings)
	}
	if s.full.Load() {
		s.counts.lost.Add(uint64(good))
		return ErrFull
	}
	if s.use.gone { // closed only by who holds mu
		s.counts.lost.Add(uint64(good))
		return ErrAbandoned
	}
	newest := s.guard.limit(time.Now().Round(0), time.Since(s.started)+1)
	app := s.raw.AppenderV2(context.Background())
	written := uint64(0)
	for i := range polls {
		for j := range polls[i].Readings {
			r := &polls[i].Readings[j]
			if r.Quality != collector.Good || r.Unit == "" {
				continue
			}
			ok, err := s.append(app, r, newest)
			if err != nil {
				s.counts.lost.Add(uint64(good))
				return errors.Join(fmt.Errorf("write history of unit %q: %w", r.Unit, err), app.Rollback())
			}
			if ok {
				written++
			}
		}
	}
	if err := app.Commit(); err != nil {
		s.counts.lost.Add(uint64(good))
		return fmt.Errorf("write history: %w", err)
	}
	s.counts.written.Add(written)
	return nil
}

func (s *Store) append(app storage.AppenderV2, r *collector.Reading, newest time.Time) (bool, error) {
	if r.Taken.After(newest) {
		s.counts.ahead.Add(1)
		return false, nil
	}
	key := seriesKey{r.Unit, r.Point}
	h := s.series[key]
	if h == nil {
		h = &handle{labels: rawLabels(key)}
		s.series[key] = h
	}
	ref, err := app.Append(h.ref, h.labels, 0, r.Taken.UnixMilli(), r.Value, nil, nil, storage.AOptions{})
	switch {
	case err == nil:
		h.ref, h.last = ref, r.Taken
		return true, nil
	case errors.Is(err, storage.ErrTooOldSample), errors.Is(err, storage.ErrOutOfBounds), errors.Is(err, storage.ErrOutOfOrderSample):
		s.counts.late.Add(1)
		return false, nil
	case errors.Is(err, storage.ErrDuplicateSampleForTimestamp):
		s.counts.twice.Add(1)
		return false, nil
	}
	return false, err
}

// forget drops handles of series that get no readings any more.
func (s *Store) forget(before time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for key, h := range s.series {
		if h.last.Before(before) {
			delete(s.series, key)
		}
	}
}

func rawLabels(k seriesKey) labels.Labels {
	l := []string{model.MetricNameLabel, string(k.point.Quantity), unitLabel, k.unit}
	if k.point.Port != "" {
		l = append(l, portLabel, k.point.Port)
	}
	return labels.FromStrings(l...)
}

func pointOf(l labels.Labels) collector.Point {
	return collector.Point{Quantity: collector.Quantity(l.Get(model.MetricNameLabel)), Port: l.Get(portLabel)}
}

// Stats are counts of readings since the start.
type Stats struct {
	Written uint64
	Ahead   uint64        // refused: ahead of the clock
	Late    uint64        // refused: too far behind the newest of the fleet
	Twice   uint64        // refused: another value for the same instant is there
	Shed    uint64        // lost: too many polls were waiting
	Lost    uint64        // lost: the disk did not take them
	Waiting int           // polls in the queue
	Full    bool          // the disk is: nothing is written
	LogSpan time.Duration // that the write-ahead log reaches back
}

// Stats returns how history fares.
func (s *Store) Stats() Stats {
	c := &s.counts
	return Stats{
		Written: c.written.Load(), Ahead: c.ahead.Load(), Late: c.late.Load(), Twice: c.twice.Load(),
		Shed: c.shed.Load(), Lost: c.lost.Load(), Waiting: len(s.queue), Full: s.full.Load(), LogSpan: time.Duration(s.span.Load()),
	}
}

type counts struct {
	written, ahead, late, twice, shed, lost atomic.Uint64
	told                                    atomic.Int64 // Unix s of the last line in the log
}

// failed tells of a failure, once a minute.
func (c *counts) failed(err error, log *zap.Logger) {
	now := time.Now().Unix()
	if told := c.told.Load(); now-told >= 60 && c.told.CompareAndSwap(told, now) {
		log.Error("readings are not kept", zap.Uint64("lost", c.lost.Load()), zap.Error(err))
	}
}

// WriteHours writes sums of whole hours, by unit, of a time before the store
// began to keep readings: what another system has kept, say. Calls come in the
// order of time: hours more than half a week older than the newest are
// refused, as are those that are summed up already, without an error.
func (s *Store) WriteHours(of map[string][]Series) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	app := s.hourly.AppenderV2(context.Background())
	b := labels.NewBuilder(labels.EmptyLabels())
	last := s.rolled.Load()
	for unit, all := range of {
		for _, one := range all {
			l := rawLabels(seriesKey{unit, one.Point})
			for _, h := range one.Samples {
				if h.Count <= 0 || h.Time.UnixMilli()%hourMS != 0 || h.Time.After(s.started) {
					continue
				}
				if err := appendHour(app, b, l, h); err != nil {
					return errors.Join(fmt.Errorf("write hours of unit %q: %w", unit, err), app.Rollback())
				}
				last = max(last, h.Time.UnixMilli()+hourMS)
			}
		}
	}
	if err := app.Commit(); err != nil {
		return fmt.Errorf("write hours: %w", err)
	}
	s.rolled.Store(last)
	return nil
}
