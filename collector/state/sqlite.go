package state

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/pressly/goose/v3"
	"go.uber.org/zap"
	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"lightwell/collector/state/wal"
)

// busyTimeout is how long a write waits while another program, such as a
// person's shell, holds the file locked.
var busyTimeout = 5 * time.Second

// readConns is the number of connections that read at the same time.
const readConns = 4

// lite is the SQLite engine: one connection writes, several read.
type lite struct {
	path     string
	db, read *sql.DB
	conn     *sql.Conn // the one that writes
	stmts    map[string]*sql.Stmt
}

func openSQLite(ctx context.Context, path string, unclean bool, log *zap.Logger) (e engine, err error) {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600) // SQLite would let others read it
	if err != nil {
		return nil, err
	}
	if err := errors.Join(f.Close(), syncFolder(filepath.Dir(path))); err != nil {
		return nil, err
	}
	l := &lite{path: path, stmts: map[string]*sql.Stmt{}}
	defer func() {
		if err != nil {
			e, err = nil, errors.Join(l.explain(err), l.close())
		}
	}()
	if err = wal.Check(path + "-wal"); err != nil {
		return nil, err
	}
	if l.db, err = sql.Open("sqlite", address(path, "journal_mode(WAL)", "synchronous(FULL)", "foreign_keys(ON)")); err != nil {
		return nil, err
	}
	l.db.SetMaxOpenConns(2) // goose takes one while conn is held
	if l.read, err = sql.Open("sqlite", address(path, "query_only(ON)")); err != nil {
		return nil, err
	}
	l.read.SetMaxOpenConns(readConns)
	l.read.SetMaxIdleConns(readConns)
	if l.conn, err = l.db.Conn(ctx); err != nil {
		return nil, err
	}
	begun := time.Now()
	if err = l.check(ctx, unclean); unclean {
		log.Info("data folder was not closed: state checked", zap.Duration("took", time.Since(begun)), zap.Error(err))
	}
	return l, err
}

func address(path string, pragmas ...string) string {
	q := url.Values{"_pragma": {fmt.Sprintf("busy_timeout(%d)", busyTimeout.Milliseconds())}}
	for _, p := range pragmas {
		q.Add("_pragma", p)
	}
	if abs, err := filepath.Abs(path); err == nil {
		path = abs
	}
	return (&url.URL{Scheme: "file", Path: filepath.ToSlash(path), RawQuery: q.Encode()}).String()
}

// check follows every link in the file when it was not closed, and looks
// into the indexes of the tables whose rows are found by them and changed.
// The log is left out: it is long, and its lines are checked when read.
func (l *lite) check(ctx context.Context, unclean bool) error {
	checks, err := l.texts(ctx, "SELECT 'integrity_check(' || name || ')' FROM sqlite_master WHERE type = 'table' AND name <> 'changes'")
	if err != nil {
		return err
	}
	if unclean {
		checks = append(checks, "quick_check")
	}
	for _, c := range checks {
		verdicts, err := l.texts(ctx, "PRAGMA "+c)
		if err != nil {
			return err
		}
		if len(verdicts) != 1 || verdicts[0] != "ok" {
			return fmt.Errorf("%w: %s", ErrDamaged, strings.Join(verdicts, "; "))
		}
	}
	return nil
}

func (l *lite) texts(ctx context.Context, query string) ([]string, error) {
	return gather(ctx, l.conn, func(rows *sql.Rows) (v string, err error) { return v, rows.Scan(&v) }, query)
}

func (l *lite) name() string    { return "sqlite" }
func (l *lite) writer() querier { return l.conn }
func (l *lite) reader() *sql.DB { return l.read }

func (l *lite) sizeQuery() string {
	return "SELECT page_count * page_size FROM pragma_page_count(), pragma_page_size()"
}

func (l *lite) migrations() (goose.Dialect, *sql.DB) { return goose.DialectSQLite3, l.db }

// apply is not interrupted by ctx once it has begun: it is short, and waits
// for a lock no longer than busyTimeout.
func (l *lite) apply(ctx context.Context, batch []statement) (err error) {
	if err := ctx.Err(); err != nil {
		return err
	}
	ctx = context.WithoutCancel(ctx)
	if err := l.exec(ctx, statement{sql: "BEGIN IMMEDIATE"}); err != nil {
		return err
	}
	defer func() {
		if err != nil {
			// After some errors SQLite has rolled back by itself, and says so.
			_ = l.exec(ctx, statement{sql: "ROLLBACK"})
		}
	}()
	for _, st := range batch {
		if err := l.exec(ctx, st); err != nil {
			return err
		}
	}
	return l.exec(ctx, statement{sql: "COMMIT"})
}

func (l *lite) exec(ctx context.Context, st statement) error {
	prepared := l.stmts[st.sql]
	if prepared == nil {
		var err error
		if prepared, err = l.conn.PrepareContext(ctx, st.sql); err != nil {
			return err
		}
		l.stmts[st.sql] = prepared
	}
	_, err := prepared.ExecContext(ctx, st.args...)
	return err
}

// lost is always false: a transaction of a file was written or was not.
func (l *lite) lost(error) bool { return false }

func (l *lite) taken(err error) bool { return code(err) == sqlite3.SQLITE_CONSTRAINT }

func (l *lite) explain(err error) error {
	if err == nil || errors.Is(err, ErrDamaged) || errors.Is(err, ErrNewer) {
		return l.advise(err)
	}
	if errors.Is(err, wal.ErrDamaged) {
		return l.advise(fmt.Errorf("%w: %w", ErrDamaged, err))
	}
	switch code(err) {
	case sqlite3.SQLITE_FULL:
		return fmt.Errorf("%w for %s: free some: %w", ErrFull, l.path, err)
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_ERROR: // the last: the schema does not fit the statements
		return l.advise(fmt.Errorf("%w: %w", ErrDamaged, err))
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN:
		return fmt.Errorf("%s cannot be written: give this user the right to write it, its folder and the disk: %w", l.path, err)
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return fmt.Errorf("%w: another program holds %s locked for more than %v; end its transaction: %w", ErrInUse, l.path, busyTimeout, err)
	case sqlite3.SQLITE_IOERR:
		return fmt.Errorf("%s: the disk fails or is full: look at the system's log: %w", l.path, err)
	}
	return err
}

// advise names the file and the way out where the file is damaged.
func (l *lite) advise(err error) error {
	if !errors.Is(err, ErrDamaged) {
		return err
	}
	return fmt.Errorf("%s: %w; keep a copy of it with its -wal file, and restore the newest backup", l.path, err)
}

func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return sqlite3.SQLITE_OK
}

func (l *lite) backup(ctx context.Context, path string) error {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%w: the file exists; name a new one", os.ErrExist)
	}
	db, err := sql.Open("sqlite", address(l.path))
	if err != nil {
		return err
	}
	defer db.Close()
	if _, err := db.ExecContext(ctx, "VACUUM INTO $1", path); err != nil {
		os.Remove(path) // half a copy is none
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return errors.Join(f.Chmod(0o600), f.Sync(), f.Close(), syncFolder(filepath.Dir(path)))
}

func (l *lite) close() error {
	var errs []error
	for _, st := range l.stmts {
		errs = append(errs, st.Close())
	}
	if l.read != nil {
		errs = append(errs, l.read.Close())
	}
	if l.conn != nil {
		errs = append(errs, l.conn.Close())
	}
	if l.db != nil {
		errs = append(errs, l.db.Close())
	}
	return errors.Join(errs...)
}
