// Package state keeps what must survive a kill: the alarms as they are, the
// log of changes and of what people did, the evaluator's evidence, the outbox
// of messages, baselines in all versions, trends, and small documents. It keeps them
// in one SQL database: SQLite in the data folder, or PostgreSQL where a
// connection string says so, with the same schema and the same statements.
//
// It guarantees that a write which returned nil is on disk as a whole, that
// one which failed left nothing, and that one process writes at a time. A
// write whose outcome is unknown, because the connection broke, is looked up
// before it is repeated. Every row carries a checksum; a damaged one is an
// error that wraps ErrDamaged and never an empty answer.
//
// Its data come from the packages that own the rows: to this package a body
// is a text of JSON, or bytes where it says so.
package state

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"go.uber.org/zap"

	"lightwell/collector"
)

// Errors that others wrap. The text around them names the place and the
// remedy.
var (
	// ErrInUse: another process works with the data folder or the database.
	ErrInUse = errors.New("in use by another process")
	// ErrNewer: the database was written by a newer program.
	ErrNewer = errors.New("written by a newer version of this program")
	// ErrDamaged: what is stored is not what was written.
	ErrDamaged = errors.New("damaged")
	// ErrFull: no space is left where the database is.
	ErrFull = errors.New("no space left")
	// ErrUnreachable: the database does not answer.
	ErrUnreachable = errors.New("database not reachable")
	// ErrConflict: another row is stored under the same key.
	ErrConflict = errors.New("another one is stored under that key")
	// ErrNoBackup: this database is backed up with its own tools.
	ErrNoBackup = errors.New("not backed up by this program")
)

// Config says where the state is.
type Config struct {
	// Folder is the data folder. It is made if it is not there, and belongs
	// to one process at a time, with either database.
	Folder string
	// DSN is a connection string of PostgreSQL. It must lead to the server
	// itself, or to a pooler that leaves a client its session, because the
	// session is what holds others off. Empty: SQLite, in the file state.db of
	// Folder.
	DSN collector.Secret
}

// fileName is the SQLite database in the data folder.
const fileName = "state.db"

// A Store is an open state database. Safe for concurrent use.
type Store struct {
	engine engine
	folder string
	lock   *os.File

	turn  chan struct{} // holds one token while somebody writes
	heads heads         // for who has put the token
}

// Open opens the database and brings its schema up to date. It refuses, with
// the remedy in the error, a folder or database in use (ErrInUse), a newer
// schema (ErrNewer) and a damaged file (ErrDamaged). After a stop without
// Close the whole file is checked first.
func Open(ctx context.Context, cfg Config, log *zap.Logger) (*Store, error) {
	if log == nil {
		log = zap.NewNop()
	}
	if err := os.MkdirAll(cfg.Folder, 0o700); err != nil {
		return nil, fmt.Errorf("open data folder: %w", err)
	}
	lock, err := lockFile(filepath.Join(cfg.Folder, "lock"))
	if errors.Is(err, ErrInUse) {
		return nil, fmt.Errorf("open data folder %s: %w; stop the other process, or give this one a folder of its own", cfg.Folder, err)
	} else if err != nil {
		return nil, fmt.Errorf("open data folder %s: %w", cfg.Folder, err)
	}
	s := &Store{folder: cfg.Folder, lock: lock, turn: make(chan struct{}, 1)}
	if err := s.open(ctx, cfg, log); err != nil {
		s.free()
		return nil, fmt.Errorf("open state: %w", err)
	}
	return s, nil
}

func (s *Store) open(ctx context.Context, cfg Config, log *zap.Logger) (err error) {
	if cfg.DSN.Empty() {
		s.engine, err = openSQLite(ctx, filepath.Join(cfg.Folder, fileName), dirty(s.lock), log)
	} else {
		s.engine, err = openPostgres(ctx, cfg.DSN)
	}
	if err != nil {
		return err
	}
	if err = migrate(ctx, s.engine); err == nil {
		err = s.readHeads(ctx)
	}
	if err != nil {
		return s.engine.explain(err)
	}
	return mark(s.lock, true)
}

// Engine returns "sqlite" or "postgres".
func (s *Store) Engine() string { return s.engine.name() }

// Path returns where the data folder is.
func (s *Store) Path() string { return s.folder }

// Close ends the use of database and folder. Call it once, after the last
// other call has returned.
func (s *Store) Close() error {
	s.turn <- struct{}{}
	defer s.done()
	err := s.engine.close()
	if err == nil {
		err = mark(s.lock, false)
	}
	return errors.Join(err, unlockFile(s.lock))
}

// free gives back what a failed Open took. The folder stays marked as it was.
func (s *Store) free() {
	if s.engine != nil {
		s.engine.close()
	}
	_ = unlockFile(s.lock) // nobody could do anything about it
}

// Backup writes a copy of the database, as of one moment, to a new file while
// the store is in use. PostgreSQL has its own tools for that: the error wraps
// ErrNoBackup.
func (s *Store) Backup(ctx context.Context, path string) error {
	if err := s.engine.backup(ctx, path); err != nil {
		return fmt.Errorf("back up state to %s: %w", path, s.engine.explain(err))
	}
	return nil
}

// dirty tells whether the folder was left without Close.
func dirty(lock *os.File) bool {
	info, err := lock.Stat()
	return err != nil || info.Size() > 0
}

// mark notes in the lock file whether the folder is in use.
func mark(lock *os.File, inUse bool) error {
	if !inUse {
		return errors.Join(lock.Truncate(0), lock.Sync())
	}
	_, err := lock.WriteAt([]byte("in use\n"), 0)
	return errors.Join(err, lock.Sync())
}
