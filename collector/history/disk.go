package history

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/prometheus/prometheus/tsdb"
	"go.uber.org/zap"
)

// Sync brings what is written to the disk itself. The database does so only
// when it begins a new segment of its log, after up to 16 MB.
func (s *Store) Sync() error {
	var errs []error
	for _, name := range []string{rawFolder, hourlyFolder} {
		for _, log := range []string{"wal", "wbl"} {
			errs = append(errs, syncNewest(filepath.Join(s.cfg.Folder, name, log)))
		}
	}
	return errors.Join(errs...)
}

// syncNewest syncs the newest segment of a log, and the folder. Older ones
// are synced by the database.
func syncNewest(folder string) error {
	entries, err := os.ReadDir(folder)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("sync history: %w", err)
	}
	for i := len(entries) - 1; i >= 0; i-- {
		if entries[i].IsDir() { // a checkpoint
			continue
		}
		return errors.Join(syncPath(filepath.Join(folder, entries[i].Name())), syncPath(folder))
	}
	return nil
}

func syncPath(path string) error {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil // the database has just dropped it
	}
	if err != nil {
		return fmt.Errorf("sync history: %w", err)
	}
	return errors.Join(f.Sync(), f.Close())
}

// logReach is how far the log of the readings may reach back. In good health
// that is some hours; a damaged segment ends the making of blocks, and then
// the log grows until the disk is full.
const logReach = 24 * time.Hour

// watchLog measures how far the log reaches back, and says when that is too
// far, once a day.
func (s *Store) watchLog(now time.Time) {
	span := logSpan(filepath.Join(s.cfg.Folder, rawFolder, "wal"))
	s.span.Store(int64(span))
	if span < logReach || time.Since(s.started) < logReach || now.Sub(s.warned) < logReach {
		return
	}
	s.warned = now
	s.log.Error("the log of the history is not made into blocks: look for its errors above; a restart repairs a damaged log by cutting it off",
		zap.Duration("span", span), zap.String("folder", filepath.Join(s.cfg.Folder, rawFolder)))
}

// logSpan returns the time between the last writes of the oldest and of the
// newest segment of a log.
func logSpan(folder string) time.Duration {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return 0 // Sync says so
	}
	var oldest, newest time.Time
	for _, e := range entries {
		info, err := e.Info()
		if err != nil || e.IsDir() { // a checkpoint, or just dropped
			continue
		}
		if at := info.ModTime(); oldest.IsZero() {
			oldest, newest = at, at
		} else if at.After(newest) {
			newest = at
		}
	}
	return newest.Sub(oldest)
}

// Snapshot writes a copy of both databases, whole at this moment, into dir,
// which must not exist or be empty. A Store can be opened on it.
func (s *Store) Snapshot(ctx context.Context, dir string) error {
	end, ok := s.use.begin()
	if !ok {
		return ErrAbandoned
	}
	defer end()
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return fmt.Errorf("copy history: %s is not empty", dir)
	}
	for name, db := range map[string]*tsdb.DB{rawFolder: s.raw, hourlyFolder: s.hourly} {
		to := filepath.Join(dir, name)
		if err := os.MkdirAll(to, 0o700); err != nil {
			return fmt.Errorf("copy history: %w", err)
		}
		if err := snapshot(ctx, db, to); err != nil {
			return fmt.Errorf("copy history %s: %w", name, err)
		}
	}
	return nil
}

func snapshot(ctx context.Context, db *tsdb.DB, to string) error {
	if err := db.CompactOOOHead(ctx); err != nil { // late readings are not in the head's copy
		return err
	}
	head := db.Head()
	return db.Snapshot(to, head.MinTime() <= head.MaxTime())
}
