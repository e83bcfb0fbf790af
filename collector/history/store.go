package history

import (
	"context"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/prometheus/prometheus/tsdb"
	"go.uber.org/zap"

	"lightwell/collector"
)

// A Store is the history of a fleet in a folder. Safe for concurrent use.
type Store struct {
	cfg     Config
	log     *zap.Logger
	started time.Time
	raw     *tsdb.DB
	hourly  *tsdb.DB
	queue   chan collector.Poll
	use     use
	rolled  atomic.Int64 // Unix ms: hours before this are summed up
	full    atomic.Bool  // the disk is: nothing is written
	span    atomic.Int64 // ns that the log of the readings reaches back
	warned  time.Time    // of a log that reaches back too far; only for upkeep
	counts  counts

	mu     sync.Mutex // of what writes
	guard  guard
	series map[seriesKey]*handle
}

// names of the databases within the folder, and of a snapshot's parts.
const (
	rawFolder    = "raw"
	hourlyFolder = "hourly"
)

// Open opens both databases, making them if they are not there. A log whose
// end was torn by a power cut is cut back to its last whole record.
func Open(cfg Config, log *zap.Logger) (*Store, error) {
	if err := cfg.Validate(); err != nil {
		return nil, fmt.Errorf("open history: %w", err)
	}
	s := &Store{
		cfg: cfg, log: log, started: time.Now(),
		queue:  make(chan collector.Poll, cfg.Queue),
		guard:  guard{ahead: cfg.Ahead, settle: cfg.Settle},
		series: map[seriesKey]*handle{},
	}
	var err error
	if s.raw, err = s.open(rawFolder, cfg.RawAge, cfg.RawSize, 2*time.Hour, cfg.Late); err != nil {
		return nil, err
	}
	if s.hourly, err = s.open(hourlyFolder, cfg.HourlyAge, cfg.HourlySize, 168*time.Hour, 0); err != nil {
		return nil, errors.Join(err, s.raw.Close())
	}
	s.resume()
	if newest := lastTime(s.raw); newest > time.Now().Add(cfg.Ahead).UnixMilli() {
		log.Error("history holds readings ahead of the clock: put the clock right, or, if it is right, move the folder away",
			zap.Time("newest", time.UnixMilli(newest)), zap.String("folder", filepath.Join(cfg.Folder, rawFolder)))
	}
	return s, nil
}

func (s *Store) open(name string, age time.Duration, size int64, block, late time.Duration) (*tsdb.DB, error) {
	o := tsdb.DefaultOptions()
	o.RetentionDuration = age.Milliseconds()
	o.MaxBytes = size
	o.WALSegmentSize = segmentSize(size)
	o.MinBlockDuration = block.Milliseconds()
	o.MaxBlockDuration = max(block, age/10).Milliseconds()
	o.OutOfOrderTimeWindow = late.Milliseconds()
	o.EnableOverlappingCompaction = true
	path := filepath.Join(s.cfg.Folder, name)
	db, err := tsdb.Open(path, slogTo(s.log.Named(name)), nil, o, nil)
	if err != nil {
		return nil, fmt.Errorf("open history %s: %w; make the folder writable by this user, or move it away to start without it", path, err)
	}
	return db, nil
}

// segmentSize returns the size of the log's files for a bound by size, 0: no
// bound. The log shrinks by whole files, three of which stay.
func segmentSize(bound int64) int {
	const page, most = 32 << 10, 16 << 20
	if bound == 0 {
		return most
	}
	return int(min(most, bound/16/page*page))
}

// Append takes the good readings of a poll. It never waits: when too many
// polls are waiting for the disk, this one is shed and counted.
func (s *Store) Append(p collector.Poll) {
	if len(p.Readings) == 0 {
		return
	}
	select {
	case s.queue <- p:
	default:
		s.counts.shed.Add(uint64(len(p.Readings)))
	}
}

// Run writes what Append takes, syncs, sums up hours and watches the disk
// until ctx ends; then it writes what still waits.
func (s *Store) Run(ctx context.Context) error {
	var work sync.WaitGroup
	defer work.Wait()
	work.Go(func() { s.upkeep(ctx) })
	for {
		select {
		case <-ctx.Done():
			s.drain()
			return nil
		case p := <-s.queue:
			s.writeBatch(p)
		}
	}
}

// drain writes all that waits.
func (s *Store) drain() {
	for {
		select {
		case p := <-s.queue:
			s.writeBatch(p)
		default:
			return
		}
	}
}

// batchPolls bounds what is written in one go.
const batchPolls = 512

// writeBatch writes a poll and those that wait behind it.
func (s *Store) writeBatch(first collector.Poll) {
	batch := append(make([]collector.Poll, 0, 16), first)
	for len(batch) < batchPolls {
		select {
		case p := <-s.queue:
			batch = append(batch, p)
			continue
		default:
		}
		break
	}
	if err := s.Write(batch...); err != nil {
		s.counts.failed(err, s.log)
	}
}

// upkeep syncs, watches the disk and sums up hours.
func (s *Store) upkeep(ctx context.Context) {
	sync, hour := time.NewTicker(s.cfg.Sync), time.NewTicker(time.Minute)
	defer sync.Stop()
	defer hour.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-sync.C:
			s.watchHealth()
			s.watchDisk()
			s.watchLog(time.Now())
			if err := s.Sync(); err != nil {
				s.counts.failed(err, s.log)
			}
		case <-hour.C:
			if err := s.RollUp(ctx, time.Now()); err != nil {
				s.counts.failed(err, s.log)
			}
		}
	}
}

// watchDisk stops writing before the disk is full, so that alarms and
// baselines, which need little, still find room.
func (s *Store) watchDisk() {
	used, err := DiskUsed(s.cfg.Folder)
	if err != nil || s.cfg.DiskStop >= 1 {
		return
	}
	full := used > s.cfg.DiskStop
	if s.full.Swap(full) != full {
		s.log.Warn("history and the disk", zap.Bool("stopped", full), zap.Float64("used", used), zap.Float64("limit", s.cfg.DiskStop))
	}
}

// Close writes what still waits, syncs, and closes both databases. Run must
// have returned.
func (s *Store) Close() error {
	s.drain()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.use.mu.Lock()
	defer s.use.mu.Unlock()
	if s.use.gone {
		return nil
	}
	s.use.gone = true
	return errors.Join(s.Sync(), s.closeAll())
}

var _ io.Closer = (*Store)(nil)
