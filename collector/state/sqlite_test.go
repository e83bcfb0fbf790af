package state_test

import (
	"database/sql"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/state"
	"lightwell/collector/state/pgtest"
)

func TestOneProcessAFolder(t *testing.T) {
	p := place{folder: filepath.Join(t.TempDir(), "deep", "data")}
	s := p.open(t)
	_, err := state.Open(ctx, p.config(), nil)
	require.ErrorIs(t, err, state.ErrInUse)
	require.ErrorContains(t, err, "stop the other process")
	out, err := child(t, p).Output()
	require.Error(t, err)
	require.Contains(t, string(out), state.ErrInUse.Error(), "another process")
	require.NoError(t, s.Commit(ctx, round(1, 3)), "the first one goes on")
	require.NoError(t, s.Close())
	requireWhole(t, opened(t, p), 4)
}

func TestOnlyTheOwnerReads(t *testing.T) {
	p := place{folder: filepath.Join(t.TempDir(), "data")}
	s := opened(t, p)
	require.NoError(t, s.Commit(ctx, round(1, 3)))
	require.NoError(t, s.Backup(ctx, filepath.Join(p.folder, "copy.db")))
	files, err := filepath.Glob(filepath.Join(p.folder, "*"))
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), 4)
	for _, f := range append(files, p.folder) {
		info, err := os.Stat(f)
		require.NoError(t, err)
		require.Zero(t, info.Mode().Perm()&0o077, f)
	}
}

func TestLockedByAnotherProgram(t *testing.T) {
	state.BeImpatient(t.Cleanup)
	p := place{folder: t.TempDir()}
	s := opened(t, p)
	require.NoError(t, s.Commit(ctx, round(1, 3)))
	shell, err := sql.Open("sqlite", filepath.Join(p.folder, "state.db"))
	require.NoError(t, err)
	defer shell.Close()
	shell.SetMaxOpenConns(1)
	_, err = shell.Exec("BEGIN IMMEDIATE")
	require.NoError(t, err)
	err = s.Commit(ctx, round(4, 3))
	require.ErrorIs(t, err, state.ErrInUse)
	require.ErrorContains(t, err, "another program holds")
	_, err = s.Alarms(ctx)
	require.NoError(t, err, "reads go on")
	_, err = shell.Exec("ROLLBACK")
	require.NoError(t, err)
	require.NoError(t, s.Commit(ctx, round(4, 3)))
	requireWhole(t, s, 7)
}

func TestBackupWhileWriting(t *testing.T) {
	p := place{folder: t.TempDir()}
	s := opened(t, p)
	require.NoError(t, s.Commit(ctx, round(1, 300)))
	stop, stopped := make(chan struct{}), make(chan error)
	go func() {
		for seq := uint64(301); ; seq += 3 {
			select {
			case <-stop:
				stopped <- nil
				return
			default:
			}
			if err := s.Commit(ctx, round(seq, 3)); err != nil {
				stopped <- err
				return
			}
		}
	}()
	copied := place{folder: t.TempDir()}
	path := filepath.Join(copied.folder, "state.db")
	require.NoError(t, s.Backup(ctx, path))
	close(stop)
	require.NoError(t, <-stopped)
	require.ErrorIs(t, s.Backup(ctx, path), os.ErrExist, "no copy is overwritten")

	c := opened(t, copied)
	next, err := c.NextSeq(ctx)
	require.NoError(t, err)
	require.GreaterOrEqual(t, next, uint64(301))
	requireWhole(t, c, next)
}

func TestANewerSchemaIsRefused(t *testing.T) {
	folder := t.TempDir()
	require.NoError(t, place{folder: folder}.open(t).Close())
	db, err := sql.Open("sqlite", filepath.Join(folder, "state.db"))
	require.NoError(t, err)
	_, err = db.Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES (99, 1)")
	require.NoError(t, err)
	require.NoError(t, db.Close())

	server := pgtest.Start(t)
	dsn := server.Database()
	other := t.TempDir()
	require.NoError(t, place{other, dsn}.open(t).Close())
	server.Exec(dsn, "INSERT INTO goose_db_version (version_id, is_applied) VALUES (99, true)")

	for _, p := range []place{{folder: folder}, {other, dsn}} {
		_, err := state.Open(ctx, p.config(), nil)
		require.ErrorIs(t, err, state.ErrNewer)
		require.ErrorContains(t, err, "version 99, this program knows ")
		require.ErrorContains(t, err, "use the newer program")
	}
}

func TestNotADatabase(t *testing.T) {
	folder := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(folder, "state.db"), []byte("Subject: state\n\nsee attachment, and more than a hundred bytes of text that is not a database at all, whatever its name"), 0o600))
	_, err := state.Open(ctx, state.Config{Folder: folder}, nil)
	require.ErrorIs(t, err, state.ErrDamaged)
	require.ErrorContains(t, err, "state.db")
	require.ErrorContains(t, err, "restore the newest backup")
}

// Whatever byte is flipped, the state is either refused or read as it was
// written: nothing is lost silently.
func TestFlippedBytes(t *testing.T) {
	p := place{folder: t.TempDir()}
	s := p.open(t)
	for seq := uint64(1); seq < 120; seq += 30 {
		require.NoError(t, s.Commit(ctx, round(seq, 30)))
	}
	require.NoError(t, s.AppendBaselines(ctx, []state.BaselineRow{{Unit: "u", Version: 1, Accepted: noon, By: "kim", Body: body}}))
	require.NoError(t, s.Save(ctx, "identity", "abc"))
	want := everything(t, s)
	require.NoError(t, s.Close())
	sound, err := os.ReadFile(filepath.Join(p.folder, "state.db"))
	require.NoError(t, err)
	refused := 0
	for range 300 {
		data, at := flip(sound)
		got, err := readAll(damaged(t, data, nil))
		if err != nil {
			require.ErrorIs(t, err, state.ErrDamaged, "byte %d", at)
			refused++
			continue
		}
		require.Equal(t, want, got, "byte %d", at)
	}
	require.Greater(t, refused, 100, "most of the file is data")
}

// The same after a kill, for what is only in the write-ahead log. Its very
// last transaction cannot be told from one that a power cut tore.
func TestFlippedBytesOfTheWriteAheadLog(t *testing.T) {
	const rounds = 20
	p := place{folder: t.TempDir()}
	s := opened(t, p)
	for i := range uint64(rounds) {
		require.NoError(t, s.Commit(ctx, round(1+3*i, 3)))
	}
	main, err := os.ReadFile(filepath.Join(p.folder, "state.db"))
	require.NoError(t, err)
	sound, err := os.ReadFile(filepath.Join(p.folder, "state.db-wal"))
	require.NoError(t, err)
	count := func(wal []byte) (int, error) {
		all, err := readAll(damaged(t, main, wal))
		if err != nil {
			return 0, err
		}
		return len(all[2].([]state.ChangeRow)), nil
	}
	n, err := count(sound)
	require.NoError(t, err)
	require.Equal(t, 3*rounds, n)
	for _, torn := range []int{1, 25, 4096} {
		n, err := count(sound[:len(sound)-torn])
		require.NoError(t, err, "a power cut is no damage")
		require.Equal(t, 3*rounds-3, n)
	}
	refused := 0
	for range 200 {
		wal, at := flip(sound)
		n, err := count(wal)
		if err != nil {
			require.ErrorIs(t, err, state.ErrDamaged, "byte %d", at)
			refused++
			continue
		}
		require.GreaterOrEqual(t, n, 3*rounds-3, "byte %d of %d", at, len(sound))
	}
	require.Greater(t, refused, 100)
}

// After a kill the whole file is looked at before anything is read: whatever
// page is gone, Open says so.
func TestLostPages(t *testing.T) {
	p := place{folder: t.TempDir()}
	s := p.open(t)
	require.NoError(t, s.Commit(ctx, round(1, 60)))
	want := everything(t, s)
	require.NoError(t, s.Close())
	sound, err := os.ReadFile(filepath.Join(p.folder, "state.db"))
	require.NoError(t, err)
	const page = 4096
	late := 0
	for at := 0; at < len(sound); at += page {
		data := slices.Clone(sound)
		clear(data[at : at+page])
		got, err := readAll(damaged(t, data, nil))
		if err == nil {
			require.Equal(t, want, got, "page %d", at/page)
			continue
		}
		require.ErrorIs(t, err, state.ErrDamaged, "page %d", at/page)
		closed, err := state.Open(ctx, damaged(t, data, nil).config(), nil)
		if err == nil {
			late++ // found when the log was read
			require.NoError(t, closed.Close())
		}
		_, err = state.Open(ctx, damaged(t, data, []byte{}).config(), nil)
		require.ErrorIs(t, err, state.ErrDamaged, "page %d", at/page)
	}
	require.Positive(t, late, "the check after a kill finds more")
}

func flip(sound []byte) (data []byte, at int) {
	data, at = slices.Clone(sound), rand.IntN(len(sound))
	data[at] ^= 1 << rand.IntN(8)
	return data, at
}

// damaged makes a folder as a killed process leaves it.
func damaged(t *testing.T, main, wal []byte) place {
	t.Helper()
	p := place{folder: t.TempDir()}
	require.NoError(t, os.WriteFile(filepath.Join(p.folder, "state.db"), main, 0o600))
	if wal != nil {
		require.NoError(t, os.WriteFile(filepath.Join(p.folder, "state.db-wal"), wal, 0o600))
		require.NoError(t, os.WriteFile(filepath.Join(p.folder, "lock"), []byte("in use\n"), 0o600))
	}
	return p
}

func readAll(p place) ([]any, error) {
	s, err := state.Open(ctx, p.config(), nil)
	if err != nil {
		return nil, err
	}
	defer s.Close()
	return contents(s)
}

func everything(t *testing.T, s *state.Store) []any {
	t.Helper()
	all, err := contents(s)
	require.NoError(t, err)
	return all
}

// contents is all that can be read back.
func contents(s *state.Store) ([]any, error) {
	alarms, err1 := s.Alarms(ctx)
	evidence, err2 := s.Evidence(ctx)
	log, err3 := s.Changes(ctx, state.Filter{})
	list, err4 := s.ListOutbox(ctx, "", "", 0)
	baselines, err5 := s.Baselines(ctx)
	var identity string
	_, err6 := s.Load(ctx, "identity", &identity)
	for _, err := range []error{err1, err2, err3, err4, err5, err6} {
		if err != nil {
			return nil, err
		}
	}
	return []any{alarms, evidence, log, list, baselines, identity}, nil
}
