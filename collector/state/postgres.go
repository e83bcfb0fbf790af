package state

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgconn"
	"github.com/jackc/pgx/v5/stdlib"
	"github.com/pressly/goose/v3"

	"lightwell/collector"
)

// lockPatience is how long a writer waits for one before it to let go of the
// database: long enough for the server to notice that a process was killed.
var lockPatience = 5 * time.Second

// connectTimeout holds for each host of the connection string that names no
// other.
const connectTimeout = 5 * time.Second

// sessionDefaults hold where the connection string says nothing else.
// Keepalives end the session of a host that is gone, and with it its lock,
// after 5 s + 4 x 2 s. Every question here has an index; without statistics
// of a table that grew just now the planner would read all of it, and compile
// the query for that.
var sessionDefaults = map[string]string{
	"application_name": "lightwell", "tcp_keepalives_idle": "5", "tcp_keepalives_interval": "2", "tcp_keepalives_count": "4",
	"enable_seqscan": "off", "jit": "off",
}

// pg is the PostgreSQL engine. One connection writes; its session holds an
// advisory lock, so that who writes is who owns the database, also after the
// connection was broken and made anew.
type pg struct {
	write, read *sql.DB
}

func openPostgres(ctx context.Context, dsn collector.Secret) (engine, error) {
	cfg, err := pgx.ParseConfig(dsn.Reveal())
	if err != nil {
		return nil, fmt.Errorf("read connection string: %w", err) // pgx hides the password
	}
	if cfg.ConnectTimeout == 0 {
		cfg.ConnectTimeout = connectTimeout
	}
	for name, value := range sessionDefaults {
		if cfg.RuntimeParams[name] == "" {
			cfg.RuntimeParams[name] = value
		}
	}
	p := &pg{write: stdlib.OpenDB(*cfg, stdlib.OptionAfterConnect(own)), read: stdlib.OpenDB(*cfg)}
	p.write.SetMaxOpenConns(1)
	p.write.SetMaxIdleConns(1)
	p.read.SetMaxOpenConns(readConns)
	p.read.SetMaxIdleConns(readConns)
	if err := p.write.PingContext(ctx); err != nil {
		return nil, errors.Join(p.explain(err), p.close())
	}
	return p, nil
}

// own makes a session the owner of the schema it works in, and has its
// commits wait for the disk.
func own(ctx context.Context, conn *pgx.Conn) error {
	_, err := conn.Exec(ctx, fmt.Sprintf(`SET lock_timeout = %d`, lockPatience.Milliseconds()))
	if err != nil {
		return err
	}
	if _, err := conn.Exec(ctx, `SELECT pg_advisory_lock(hashtext('lightwell state'), hashtext(COALESCE(current_schema(), '')))`); err != nil {
		if is(err, lockNotGot) {
			return fmt.Errorf("database %s: %w; stop the other process, or give this one a database of its own", conn.Config().Database, ErrInUse)
		}
		return err
	}
	_, err = conn.Exec(ctx, `SELECT set_config('synchronous_commit', 'on', false) WHERE current_setting('synchronous_commit') = 'off'`)
	return err
}

func (p *pg) name() string    { return "postgres" }
func (p *pg) writer() querier { return p.write }
func (p *pg) reader() *sql.DB { return p.read }

func (p *pg) sizeQuery() string { return "SELECT pg_database_size(current_database())" }

func (p *pg) migrations() (goose.Dialect, *sql.DB) { return goose.DialectPostgres, p.write }

// apply sends all statements at once; the server runs them as one
// transaction, because nothing separates them.
func (p *pg) apply(ctx context.Context, batch []statement) error {
	conn, err := p.write.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	b := &pgx.Batch{}
	for _, st := range batch {
		b.Queue(st.sql, st.args...)
	}
	var refused error
	err = conn.Raw(func(c any) error {
		if refused = c.(*stdlib.Conn).Conn().SendBatch(ctx, b).Close(); is(refused, standby) {
			return driver.ErrBadConn // ask for the primary next time
		}
		return nil
	})
	if refused != nil {
		return refused
	}
	return err
}

// Codes that the server refuses with.
const (
	standby    = "25006" // read_only_sql_transaction
	lockNotGot = "55P03" // lock_not_available
	uniqueRow  = "23505" // unique_violation
	diskFull   = "53100"
)

// is tells whether the server refused with one of the codes. A code of two
// letters is a class.
func is(err error, codes ...string) bool {
	var e *pgconn.PgError
	if !errors.As(err, &e) {
		return false
	}
	for _, c := range codes {
		if e.Code == c || len(c) == 2 && e.Code[:2] == c {
			return true
		}
	}
	return false
}

// lost is true for what is no answer of a server at work: a connection that
// broke, or a server that stops (class 57P) or has become a standby.
func (p *pg) lost(err error) bool {
	var e *pgconn.PgError
	var connect *pgconn.ConnectError
	switch {
	case err == nil, errors.As(err, &connect), errors.Is(err, ErrDamaged), errors.Is(err, ErrConflict), errors.Is(err, ErrInUse):
		return false
	case errors.As(err, &e):
		return is(err, "08", "57P01", "57P02", "57P03", standby)
	}
	return errors.Is(err, sql.ErrConnDone) || pgconn.Timeout(err) || pgconn.SafeToRetry(err) || broken(err)
}

// broken tells whether err came from the network.
func broken(err error) bool {
	var e net.Error
	return errors.As(err, &e) || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, net.ErrClosed)
}

func (p *pg) taken(err error) bool { return is(err, uniqueRow) }

func (p *pg) explain(err error) error {
	var connect *pgconn.ConnectError
	switch {
	case err == nil, errors.Is(err, ErrInUse):
		return err
	case is(err, diskFull):
		return fmt.Errorf("%w for the database: free some on its server: %w", ErrFull, err)
	case is(err, lockNotGot):
		return fmt.Errorf("%w: another session holds a table locked for more than %v; end its transaction: %w", ErrInUse, lockPatience, err)
	case is(err, "XX001", "XX002"):
		return fmt.Errorf("database %w; restore it from the newest backup: %w", ErrDamaged, err)
	case errors.As(err, &connect), p.lost(err), is(err, "53"):
		return fmt.Errorf("%w; see that its server runs and lets this host in: %w", ErrUnreachable, err)
	}
	return err
}

func (p *pg) backup(context.Context, string) error {
	return fmt.Errorf("%w: PostgreSQL is backed up with its own tools, such as pg_dump", ErrNoBackup)
}

func (p *pg) close() error { return errors.Join(p.read.Close(), p.write.Close()) }
