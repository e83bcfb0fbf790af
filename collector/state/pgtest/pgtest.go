//go:build unix

// Package pgtest runs a PostgreSQL server of its own for a test, on loopback,
// in a folder that is removed with the test. It uses the programs that are
// installed; without them the test is skipped, and fails where need says so.
// It is for tests only.
package pgtest

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"lightwell/collector"
	"lightwell/collector/need"
)

// account is who runs the server when the test runs as root, which the server
// refuses to do.
const account = "postgres"

// patience is how long a server may take to start or stop on a busy machine.
const patience = 60 * time.Second

// A Server is a running server. Its methods are for one goroutine.
type Server struct {
	t       testing.TB
	program string
	home    string // where the server is started
	folder  string // its data
	port    int
	cmd     *exec.Cmd
	out     bytes.Buffer
	nextDB  int
}

// Start makes a server with default settings and starts it. It stops with the
// test.
func Start(t testing.TB) *Server {
	t.Helper()
	return StartOn(t, "")
}

// StartOn is Start with the tables on a disk of their own, mounted at the
// folder disk; the server's log of writes stays elsewhere.
func StartOn(t testing.TB, disk string) *Server {
	t.Helper()
	s := &Server{t: t, program: need.Program(t, "postgres"), port: freePort(t)}
	home, err := os.MkdirTemp("", "pgtest-") // t.TempDir is closed to other users
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(home) })
	disk = cmp.Or(disk, home)
	if os.Geteuid() == 0 {
		id := credential(t)
		for _, folder := range []string{home, disk} {
			require.NoError(t, os.Chown(folder, int(id.Uid), int(id.Gid)))
		}
	}
	s.home, s.folder = home, filepath.Join(disk, "data")
	out, err := s.command(filepath.Join(filepath.Dir(s.program), "initdb"), "-D", s.folder, "-X", filepath.Join(home, "wal"),
		"-U", account, "-A", "trust", "--no-sync", "--locale=C", "-E", "UTF8").CombinedOutput()
	require.NoError(t, err, "%s", out)
	s.Run()
	t.Cleanup(s.Stop)
	return s
}

// freePort returns a port of loopback that nobody uses now.
func freePort(t testing.TB) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

func credential(t testing.TB) *syscall.Credential {
	t.Helper()
	u, err := user.Lookup(account)
	require.NoError(t, err)
	uid, err := strconv.ParseUint(u.Uid, 10, 32)
	require.NoError(t, err)
	gid, err := strconv.ParseUint(u.Gid, 10, 32)
	require.NoError(t, err)
	return &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
}

func (s *Server) command(program string, args ...string) *exec.Cmd {
	cmd := exec.Command(program, args...)
	cmd.Dir = s.home
	if os.Geteuid() == 0 {
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: credential(s.t)}
	}
	return cmd
}

// Run starts the server after Stop or Kill, at the same address, and waits
// until it answers.
func (s *Server) Run() {
	s.t.Helper()
	s.cmd = s.command(s.program, "-D", s.folder, "-h", "127.0.0.1", "-p", strconv.Itoa(s.port), "-k", "", "-c", "shared_buffers=32MB")
	s.out.Reset()
	s.cmd.Stdout, s.cmd.Stderr = &s.out, &s.out
	require.NoError(s.t, s.cmd.Start())
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	for wait := time.NewTicker(20 * time.Millisecond); ; <-wait.C {
		conn, err := pgx.Connect(ctx, s.dsn(account))
		if err == nil {
			require.NoError(s.t, conn.Close(ctx))
			wait.Stop()
			return
		}
		require.NoError(s.t, ctx.Err(), "server does not answer: %v", err)
	}
}

// Stop ends the server as its administrator would, with its sessions.
func (s *Server) Stop() { s.end(syscall.SIGINT) }

// Kill ends the server as a power cut would, but for what the system has not
// written yet.
func (s *Server) Kill() { s.end(syscall.SIGQUIT) }

func (s *Server) end(sig os.Signal) {
	s.t.Helper()
	if s.cmd == nil {
		return
	}
	cmd := s.cmd
	s.cmd = nil
	require.NoError(s.t, cmd.Process.Signal(sig))
	stop := time.AfterFunc(patience, func() { cmd.Process.Kill() })
	defer stop.Stop()
	if err := cmd.Wait(); err != nil && !errors.As(err, new(*exec.ExitError)) {
		require.NoError(s.t, err)
	}
}

// Restart stops the server and runs it again.
func (s *Server) Restart() {
	s.t.Helper()
	s.Stop()
	s.Run()
}

// Database makes an empty database and returns its connection string.
func (s *Server) Database() collector.Secret {
	s.t.Helper()
	s.nextDB++
	name := fmt.Sprintf("test%d", s.nextDB)
	s.Exec(collector.NewSecret(s.dsn(account)), "CREATE DATABASE "+name)
	return collector.NewSecret(s.dsn(name))
}

// Exec runs statements in a database.
func (s *Server) Exec(dsn collector.Secret, statements ...string) {
	s.t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	conn, err := pgx.Connect(ctx, dsn.Reveal())
	require.NoError(s.t, err)
	defer conn.Close(ctx)
	for _, st := range statements {
		_, err := conn.Exec(ctx, st)
		require.NoError(s.t, err, st)
	}
}

// Hold runs a statement in a transaction of its own, sends on held, and ends the
// transaction when release is closed.
func (s *Server) Hold(dsn collector.Secret, statement string, held chan<- struct{}, release <-chan struct{}) {
	defer close(held) // also after an error, so that nobody waits for ever
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	defer cancel()
	conn, err := pgx.Connect(ctx, dsn.Reveal())
	if err != nil {
		s.t.Errorf("hold: %v", err)
		return
	}
	defer conn.Close(ctx)
	for _, st := range []string{"BEGIN", statement} {
		if _, err := conn.Exec(ctx, st); err != nil {
			s.t.Errorf("%s: %v", st, err)
			return
		}
	}
	held <- struct{}{}
	<-release
}

func (s *Server) dsn(database string) string {
	return fmt.Sprintf("postgres://%s@127.0.0.1:%d/%s?sslmode=disable", account, s.port, database)
}
