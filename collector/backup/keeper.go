package backup

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"sync"
	"time"

	"go.uber.org/zap"

	"lightwell/collector"
)

// Config says where archives are kept, and when they are made.
type Config struct {
	Folder   string
	Schedule collector.Schedule // the zero Schedule: only when asked
	Keep     int                // how many of those made on schedule stay; the oldest go
}

// An Archive is a file in the folder.
type Archive struct {
	Name    string    `json:"name"`
	Created time.Time `json:"created"`
	Size    int64     `json:"size"`
	Asked   bool      `json:"asked"` // made because somebody asked; never removed
}

// Status tells how a Keeper stands.
type Status struct {
	Folder   string    `json:"folder"`
	Running  bool      `json:"running"`
	Next     time.Time `json:"next,omitzero"` // on schedule
	Fault    string    `json:"fault,omitempty"`
	FaultAt  time.Time `json:"fault_at,omitzero"` // of the last one that failed; zero: the last one worked
	Archives []Archive `json:"archives"`          // newest first
}

// A Keeper makes archives on schedule and when asked, one at a time, and
// removes old ones. Safe for concurrent use.
type Keeper struct {
	cfg   Config
	src   Sources
	log   *zap.Logger
	asked chan struct{} // holds one request

	mu    sync.Mutex // guards what follows
	state Status     // without Archives
	tried time.Time  // begin of the last one on schedule
}

// NewKeeper returns a Keeper. It makes the folder when it first needs it.
func NewKeeper(cfg Config, src Sources, log *zap.Logger) *Keeper {
	k := &Keeper{cfg: cfg, src: src, log: log, asked: make(chan struct{}, 1)}
	k.state.Folder = cfg.Folder
	return k
}

// ErrRunning: an archive is being made, and another one waits.
var ErrRunning = errors.New("a backup is under way already, and another one waits: see how it ends")

// Ask has Run make an archive soon.
func (k *Keeper) Ask() error {
	k.mu.Lock()
	defer k.mu.Unlock()
	select {
	case k.asked <- struct{}{}:
		k.state.Running = true
		return nil
	default:
		return ErrRunning
	}
}

const (
	// look is how often Run compares the schedule with the clock, which may
	// be put forward or back.
	look = time.Minute
	// again is how long after a failure on schedule the next try comes.
	again = time.Hour
)

// Run makes archives until ctx ends. One that was due while no Keeper ran is
// made at once. An archive under way when ctx ends is given up.
func (k *Keeper) Run(ctx context.Context) error {
	started := time.Now()
	for {
		due := k.due(started)
		k.mu.Lock()
		k.state.Next = due
		k.mu.Unlock()
		wait := look
		if !due.IsZero() {
			wait = min(look, max(0, time.Until(due)))
		}
		select {
		case <-ctx.Done():
			return nil
		case <-k.asked:
			k.make(ctx, true)
		case <-time.After(wait):
			if now := time.Now(); !due.IsZero() && !now.Before(due) {
				k.mu.Lock()
				k.tried = now
				k.mu.Unlock()
				k.make(ctx, false)
			}
		}
	}
}

// due returns when the next archive is due: after the newest one on schedule
// or, when there is none, after the Keeper has started.
func (k *Keeper) due(started time.Time) time.Time {
	last := started
	archives, err := k.archives()
	if err != nil {
		return time.Time{} // Run looks again
	}
	now := time.Now()
	for _, a := range archives {
		if !a.Asked && !a.Created.After(now) {
			last = a.Created
			break
		}
	}
	next := k.cfg.Schedule.Next(last)
	k.mu.Lock()
	defer k.mu.Unlock()
	if retry := k.tried.Add(again); !next.IsZero() && !k.state.FaultAt.IsZero() && next.Before(retry) {
		return retry
	}
	return next
}

// stamp is the time in the name of an archive.
const stamp = "20060102T150405Z"

var nameForm = regexp.MustCompile(`^lightwell-(\d{8}T\d{6}Z)(-asked)?\.tar\.zst$`)

func (k *Keeper) make(ctx context.Context, asked bool) {
	k.mu.Lock()
	k.state.Running = true
	k.mu.Unlock()
	begun := time.Now()
	name := k.name(begun, asked)
	m, err := k.write(ctx, name, begun)
	if err == nil {
		k.log.Info("backup written", zap.String("file", name), zap.Int("files", len(m.Files)), zap.Int64("bytes", m.Size()), zap.Duration("took", time.Since(begun)))
		err = k.prune()
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.state.Running = len(k.asked) > 0
	if k.state.Fault, k.state.FaultAt = "", (time.Time{}); err != nil && ctx.Err() == nil {
		k.state.Fault, k.state.FaultAt = err.Error(), begun.UTC()
		k.log.Error("backup failed", zap.Error(err))
	}
}

// name returns a name that is free: two that are asked for in one second
// differ.
func (k *Keeper) name(at time.Time, asked bool) string {
	end := ".tar.zst"
	if asked {
		end = "-asked" + end
	}
	for ; ; at = at.Add(time.Second) {
		name := "lightwell-" + at.UTC().Format(stamp) + end
		if _, err := os.Lstat(filepath.Join(k.cfg.Folder, name)); err != nil {
			return name
		}
	}
}

func (k *Keeper) write(ctx context.Context, name string, now time.Time) (Manifest, error) {
	if err := os.MkdirAll(k.cfg.Folder, 0o700); err != nil {
		return Manifest{}, fmt.Errorf("back up: %w", err)
	}
	return Create(ctx, filepath.Join(k.cfg.Folder, name), k.src, now)
}

// prune removes the oldest archives that were made on schedule, and what
// killed runs have left.
func (k *Keeper) prune() error {
	archives, err := k.archives()
	if err != nil {
		return err
	}
	kept := 0
	for _, a := range archives {
		if a.Asked {
			continue
		}
		if kept++; kept > k.cfg.Keep {
			err = errors.Join(err, os.Remove(filepath.Join(k.cfg.Folder, a.Name)))
		}
	}
	left, _ := filepath.Glob(filepath.Join(k.cfg.Folder, "lightwell-*.tar.zst.partial"))
	for _, path := range left {
		err = errors.Join(err, os.Remove(path))
	}
	return err
}

// archives lists the folder, newest first.
func (k *Keeper) archives() ([]Archive, error) {
	entries, err := os.ReadDir(k.cfg.Folder)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, fmt.Errorf("list backups: %w", err)
	}
	out := []Archive{}
	for _, e := range entries {
		parts := nameForm.FindStringSubmatch(e.Name())
		if parts == nil || !e.Type().IsRegular() {
			continue
		}
		created, err := time.Parse(stamp, parts[1])
		info, gone := e.Info()
		if err == nil && gone == nil {
			out = append(out, Archive{Name: e.Name(), Created: created, Size: info.Size(), Asked: parts[2] != ""})
		}
	}
	slices.SortFunc(out, func(a, b Archive) int { return b.Created.Compare(a.Created) })
	return out, nil
}

// Status returns how things stand.
func (k *Keeper) Status() (Status, error) {
	archives, err := k.archives()
	k.mu.Lock()
	defer k.mu.Unlock()
	s := k.state
	s.Archives = archives
	return s, err
}
