package backup_test

import (
	"archive/tar"
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/klauspost/compress/zstd"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lightwell/collector/backup"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

var now = time.Date(2026, 11, 25, 2, 15, 0, 0, time.UTC)

// kept is what a data folder holds, by name.
var kept = map[string]string{
	"state.db": strings.Repeat("alarms and baselines ", 5000), "history/raw/wal/00000001": "samples", "history/raw/empty": "", "history/hourly/01ABC/chunks/000001": strings.Repeat("\x00\x01hours", 9000),
}

// sources gives kept out.
func sources(t *testing.T) backup.Sources {
	t.Helper()
	write := func(path, name string) error {
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			return err
		}
		return os.WriteFile(path, []byte(kept[name]), 0o600)
	}
	return backup.Sources{
		Data: t.TempDir(), Program: "test",
		State: func(_ context.Context, path string) error { return write(path, "state.db") },
		History: func(_ context.Context, folder string) error {
			for name := range kept {
				if rest, ok := strings.CutPrefix(name, "history/"); ok {
					if err := write(filepath.Join(folder, filepath.FromSlash(rest)), name); err != nil {
						return err
					}
				}
			}
			return nil
		},
	}
}

// content reads the files under a folder, by name.
func content(t *testing.T, root string) map[string]string {
	t.Helper()
	out := map[string]string{}
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		data, err := os.ReadFile(path)
		name, _ := filepath.Rel(root, path)
		out[filepath.ToSlash(name)] = string(data)
		return err
	}))
	return out
}

func made(t *testing.T, src backup.Sources) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "a.tar.zst")
	_, err := backup.Create(t.Context(), path, src, now)
	require.NoError(t, err)
	return path
}

func TestThereAndBack(t *testing.T) {
	src := sources(t)
	path := filepath.Join(t.TempDir(), "a.tar.zst")
	m, err := backup.Create(t.Context(), path, src, now.Add(time.Millisecond))
	require.NoError(t, err)
	require.True(t, m.State && m.History)
	require.Len(t, m.Files, len(kept))
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, fs.FileMode(0o600), info.Mode().Perm(), "for its owner only")
	require.Less(t, info.Size(), m.Size()/10, "it is compressed")
	require.Empty(t, content(t, src.Data), "nothing is left in the data folder")

	checked, err := backup.Verify(t.Context(), path)
	require.NoError(t, err)
	require.Equal(t, m, checked)
	for _, folder := range []string{t.TempDir(), filepath.Join(t.TempDir(), "a", "new", "one")} {
		restored, err := backup.Restore(t.Context(), path, folder)
		require.NoError(t, err)
		require.Equal(t, m, restored)
		require.Equal(t, kept, content(t, folder))
	}
}

func TestWithoutState(t *testing.T) {
	src := sources(t)
	src.State = nil
	folder := t.TempDir()
	m, err := backup.Restore(t.Context(), made(t, src), folder)
	require.NoError(t, err)
	require.False(t, m.State)
	want := maps.Clone(kept)
	delete(want, "state.db")
	require.Equal(t, want, content(t, folder))

	src.History = nil
	_, err = backup.Create(t.Context(), filepath.Join(t.TempDir(), "a"), src, now)
	require.ErrorIs(t, err, backup.ErrNothing)
}

// TestDamage flips every byte of a small archive, and cuts it everywhere:
// nothing passes, and nothing is written.
func TestDamage(t *testing.T) {
	src := sources(t)
	src.History = nil
	whole, err := os.ReadFile(made(t, src))
	require.NoError(t, err)
	path, folder := filepath.Join(t.TempDir(), "a.tar.zst"), filepath.Join(t.TempDir(), "data")
	refused := func(what string, at int, data []byte) {
		require.NoError(t, os.WriteFile(path, data, 0o600))
		_, err := backup.Restore(t.Context(), path, folder)
		require.ErrorIs(t, err, backup.ErrDamaged, "%s at %d", what, at)
		require.NoDirExists(t, folder, "%s at %d", what, at)
	}
	for i := range whole {
		for _, bits := range []byte{0x01, 0x80, 0xff} {
			flipped := bytes.Clone(whole)
			flipped[i] ^= bits
			refused("flipped", i, flipped)
		}
		refused("cut", i, whole[:i])
	}
	refused("longer", 0, append(bytes.Clone(whole), 'x'))
}

func TestRefusals(t *testing.T) {
	src := sources(t)
	path := made(t, src)
	full := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(full, "state.db"), []byte("in use"), 0o600))
	_, err := backup.Restore(t.Context(), path, full)
	require.ErrorIs(t, err, backup.ErrNotEmpty)
	require.ErrorContains(t, err, "there is state.db in it; name an empty or a new folder")
	require.Equal(t, map[string]string{"state.db": "in use"}, content(t, full))

	mount := t.TempDir()
	require.NoError(t, os.Mkdir(filepath.Join(mount, "lost+found"), 0o700))
	_, err = backup.Restore(t.Context(), path, mount)
	require.NoError(t, err, "the root of a file system is as good as empty")

	_, err = backup.Create(t.Context(), path, src, now)
	require.ErrorIs(t, err, fs.ErrExist)
	_, err = backup.Verify(t.Context(), filepath.Join(full, "nowhere"))
	require.ErrorIs(t, err, fs.ErrNotExist)
}

func TestFailuresLeaveNothing(t *testing.T) {
	broken := errors.New("disk full")
	for name, spoil := range map[string]func(*backup.Sources) context.Context{
		"state": func(s *backup.Sources) context.Context {
			s.State = func(context.Context, string) error { return broken }
			return t.Context()
		},
		"history": func(s *backup.Sources) context.Context {
			s.History = func(_ context.Context, folder string) error { return errors.Join(os.Mkdir(folder, 0o700), broken) }
			return t.Context()
		},
		"told to stop": func(s *backup.Sources) context.Context {
			ctx, cancel := context.WithCancelCause(t.Context())
			s.History = func(context.Context, string) error { cancel(broken); return nil }
			return ctx
		},
	} {
		t.Run(name, func(t *testing.T) {
			src := sources(t)
			ctx := spoil(&src)
			folder := t.TempDir()
			_, err := backup.Create(ctx, filepath.Join(folder, "a.tar.zst"), src, now)
			require.Error(t, err)
			require.Empty(t, content(t, folder))
			require.Empty(t, content(t, src.Data))
		})
	}
}

// TestLeftovers: a run that was killed has left its copies behind.
func TestLeftovers(t *testing.T) {
	src := sources(t)
	old := filepath.Join(src.Data, "backup-staging", "history", "raw")
	require.NoError(t, os.MkdirAll(old, 0o700))
	require.NoError(t, os.WriteFile(filepath.Join(old, "half"), []byte("old"), 0o600))
	folder := t.TempDir()
	_, err := backup.Restore(t.Context(), made(t, src), folder)
	require.NoError(t, err)
	require.Equal(t, kept, content(t, folder))
}

// forge makes an archive with right sums of whatever is asked for.
func forge(t *testing.T, format string, files map[string]string, list ...string) string {
	t.Helper()
	m := backup.Manifest{Format: format, Created: now, State: true, History: true}
	for _, name := range list {
		sum := sha256.Sum256([]byte(files[name]))
		m.Files = append(m.Files, backup.File{Name: name, Size: int64(len(files[name])), SHA256: hex.EncodeToString(sum[:])})
	}
	header, err := json.Marshal(m)
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "forged.tar.zst")
	f, err := os.Create(path)
	require.NoError(t, err)
	sum := sha256.New()
	z, err := zstd.NewWriter(io.MultiWriter(f, sum))
	require.NoError(t, err)
	w := tar.NewWriter(z)
	put := func(name, body string) {
		require.NoError(t, w.WriteHeader(&tar.Header{Name: name, Size: int64(len(body)), Mode: 0o600}))
		_, err := io.WriteString(w, body)
		require.NoError(t, err)
	}
	put("manifest.json", string(header))
	for _, name := range list {
		put(name, files[name])
	}
	require.NoError(t, errors.Join(w.Close(), z.Close()))
	_, err = f.Write(backup.Seal(sum))
	require.NoError(t, errors.Join(err, f.Close()))
	return path
}

func TestForged(t *testing.T) {
	files := map[string]string{"state.db": "s", "../evil": "x", "/etc/evil": "x", "history/../../evil": "x", "notes.txt": "x", `history\..\evil`: "x", "history/a": "a"}
	for _, tt := range []struct {
		name, format string
		list         []string
		want         error
	}{
		{"as it should be", "lightwell-backup/1", []string{"state.db", "history/a"}, nil},
		{"a newer format", "lightwell-backup/2", []string{"state.db"}, backup.ErrNewer},
		{"something else", "holiday-photos/1", []string{"state.db"}, backup.ErrDamaged},
		{"up and out", "lightwell-backup/1", []string{"state.db", "../evil"}, backup.ErrDamaged},
		{"absolute", "lightwell-backup/1", []string{"state.db", "/etc/evil"}, backup.ErrDamaged},
		{"out by detours", "lightwell-backup/1", []string{"state.db", "history/../../evil"}, backup.ErrDamaged},
		{"backslashes", "lightwell-backup/1", []string{"state.db", `history\..\evil`}, backup.ErrDamaged},
		{"what is not ours", "lightwell-backup/1", []string{"state.db", "notes.txt"}, backup.ErrDamaged},
		{"twice", "lightwell-backup/1", []string{"state.db", "state.db"}, backup.ErrDamaged},
		{"no state", "lightwell-backup/1", []string{"history/a"}, backup.ErrDamaged},
	} {
		t.Run(tt.name, func(t *testing.T) {
			folder := filepath.Join(t.TempDir(), "data")
			_, err := backup.Restore(t.Context(), forge(t, tt.format, files, tt.list...), folder)
			require.ErrorIs(t, err, tt.want)
			if tt.want != nil {
				require.NoDirExists(t, folder)
			}
		})
	}
}

// FuzzParse: a manifest that passes names only files within the folder.
func FuzzParse(f *testing.F) {
	f.Add([]byte(`{"format":"lightwell-backup/1","state":true,"files":[{"name":"state.db","size":1,"sha256":"` + strings.Repeat("a", 64) + `"}]}`))
	f.Add([]byte(`{"format":"lightwell-backup/1","history":true,"files":[{"name":"history/../x"}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := backup.Parse(data)
		for _, file := range m.Files {
			if err == nil && !filepath.IsLocal(filepath.FromSlash(file.Name)) {
				t.Fatalf("%q passes", file.Name)
			}
		}
	})
}
