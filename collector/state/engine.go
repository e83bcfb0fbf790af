package state

import (
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"

	"github.com/pressly/goose/v3"
)

// An engine is what the two databases do differently.
type engine interface {
	name() string
	// apply runs the statements in one transaction: all or none.
	apply(ctx context.Context, batch []statement) error
	// writer reads behind the last write, also behind one whose outcome is
	// unknown; one call at a time.
	writer() querier
	// reader serves any number of calls.
	reader() *sql.DB
	// migrations returns the database for goose, before anything is written.
	migrations() (goose.Dialect, *sql.DB)
	// lost tells whether err leaves open what became of a transaction, while
	// a second try may succeed.
	lost(err error) bool
	// taken tells whether err is about a key that is there already.
	taken(err error) bool
	// explain wraps err in what it means and what to do.
	explain(err error) error
	// sizeQuery asks for the bytes of the database.
	sizeQuery() string
	backup(ctx context.Context, path string) error
	close() error
}

type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
	QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row
}

type statement struct {
	sql  string
	args []any
}

//go:embed migrations/*.sql
var migrations embed.FS

// migrate applies what is missing of the schema. The caller is the only one
// who writes.
func migrate(ctx context.Context, e engine) error {
	dialect, db := e.migrations()
	folder, err := fs.Sub(migrations, "migrations")
	if err != nil {
		return err
	}
	p, err := goose.NewProvider(dialect, db, folder, goose.WithDisableGlobalRegistry(true), goose.WithLogger(goose.NopLogger()))
	if err != nil {
		return fmt.Errorf("read migrations: %w", err)
	}
	is, knows, err := p.GetVersions(ctx)
	if err != nil {
		return fmt.Errorf("read version of the schema: %w", err)
	}
	if is > knows {
		return fmt.Errorf("%w: its schema has version %d, this program knows %d; use the newer program, or restore the backup made before it ran", ErrNewer, is, knows)
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("bring schema from version %d to %d: %w", is, knows, err)
	}
	return nil
}

// collect reads all rows of a query. It asks a second time when the
// connection turns out to be broken.
func collect[T any](ctx context.Context, s *Store, scan func(*sql.Rows) (T, error), query string, args ...any) (out []T, err error) {
	for range 2 {
		if out, err = gather(ctx, s.engine.reader(), scan, query, args...); err == nil || !s.engine.lost(err) || ctx.Err() != nil {
			break
		}
	}
	if err != nil {
		return nil, s.engine.explain(err)
	}
	return out, nil
}

func gather[T any](ctx context.Context, q querier, scan func(*sql.Rows) (T, error), query string, args ...any) (out []T, err error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, rows.Close()) }()
	for rows.Next() {
		v, err := scan(rows)
		switch {
		case err == nil:
		case errors.Is(err, ErrDamaged) || ctx.Err() != nil:
			return nil, err
		default:
			return nil, fmt.Errorf("%w: %w", ErrDamaged, err) // a column holds what was never written
		}
		out = append(out, v)
	}
	return out, rows.Err()
}
