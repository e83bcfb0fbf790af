// Package backup writes what a running daemon keeps into one archive, gives
// it back into an empty folder, and does the first every night.
//
// An archive is a tar file under zstd: a manifest with the size and SHA-256 of
// every file, then the files, and at the end the SHA-256 of it all. Its state is as of one moment, its history as of
// a moment soon after. It holds no secret of the configuration, but all that
// operators wrote: it is readable by its owner only. An archive that bears its
// name is whole; a restore reads all of it and checks every sum before it
// writes anything. Data come from the state and the history of the daemon.
package backup

import (
	"archive/tar"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"time"

	"github.com/klauspost/compress/zstd"
)

// Sources are what is backed up.
type Sources struct {
	// State writes a copy of the state into a new file; nil: the state is in
	// a database that is backed up with its own tools.
	State func(ctx context.Context, path string) error
	// History writes a copy of the readings into a new folder; nil: none are
	// kept here.
	History func(ctx context.Context, folder string) error
	// Data is the data folder. Copies are made in it, so that large files can
	// be linked, and removed at the end.
	Data    string
	Program string // version, for the manifest
}

// Names in the data folder and in an archive.
const (
	stateFile     = "state.db"
	historyFolder = "history"
	staging       = "backup-staging"
)

// ErrNothing: neither state nor history are kept by this daemon.
var ErrNothing = errors.New("nothing to back up: the state is in a database with tools of its own, and no history is kept")

// Create writes an archive to path, which must not exist. Only one archive
// may be made from a data folder at a time; Keeper sees to that.
func Create(ctx context.Context, path string, src Sources, now time.Time) (Manifest, error) {
	m, err := create(ctx, path, src, now)
	if err != nil {
		return m, fmt.Errorf("back up to %s: %w", path, err)
	}
	return m, nil
}

func create(ctx context.Context, path string, src Sources, now time.Time) (m Manifest, err error) {
	if src.State == nil && src.History == nil {
		return m, ErrNothing
	}
	stage := filepath.Join(src.Data, staging)
	if err := os.RemoveAll(stage); err != nil { // of a run that was killed
		return m, err
	}
	if err := os.Mkdir(stage, 0o700); err != nil {
		return m, err
	}
	defer func() { err = errors.Join(err, os.RemoveAll(stage)) }()
	if src.State != nil {
		if err := src.State(ctx, filepath.Join(stage, stateFile)); err != nil {
			return m, err
		}
	}
	if src.History != nil {
		if err := src.History(ctx, filepath.Join(stage, historyFolder)); err != nil {
			return m, err
		}
	}
	m = Manifest{Format: format, Created: now.UTC().Truncate(time.Second), Program: src.Program, State: src.State != nil, History: src.History != nil}
	if m.Files, err = sums(ctx, stage); err != nil {
		return m, err
	}
	return m, written(path, func(w io.Writer) error { return m.pack(ctx, stage, w) })
}

// sums lists the files under a folder.
func sums(ctx context.Context, root string) ([]File, error) {
	var files []File
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return errors.Join(err, ctx.Err())
		}
		f, err := os.Open(path)
		if err != nil {
			return err
		}
		defer f.Close()
		sum := sha256.New()
		n, err := io.Copy(sum, within(ctx, f))
		if err != nil {
			return err
		}
		name, err := filepath.Rel(root, path)
		files = append(files, File{filepath.ToSlash(name), n, hex.EncodeToString(sum.Sum(nil))})
		return err
	})
	return files, err
}

// written makes a new file of what fill writes: whole, on disk, and under its
// name only then.
func written(path string, fill func(io.Writer) error) (err error) {
	if _, err := os.Lstat(path); err == nil {
		return fmt.Errorf("%w: name a new file", fs.ErrExist)
	}
	partial := path + ".partial"
	f, err := os.OpenFile(partial, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(partial)
		}
	}()
	if err := errors.Join(fill(f), f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(partial, path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}

// pack writes the archive of the files under root.
func (m *Manifest) pack(ctx context.Context, root string, w io.Writer) error {
	sum := sha256.New()
	packed, err := zstd.NewWriter(io.MultiWriter(w, sum), zstd.WithEncoderConcurrency(1), zstd.WithEncoderCRC(true))
	if err != nil {
		return err
	}
	archive := tar.NewWriter(packed)
	header, err := json.MarshalIndent(m, "", "  ")
	if err != nil {
		return err
	}
	put := func(name string, size int64, from io.Reader) error {
		h := &tar.Header{Typeflag: tar.TypeReg, Name: name, Size: size, Mode: 0o600, ModTime: m.Created, Format: tar.FormatPAX}
		if err := archive.WriteHeader(h); err != nil {
			return err
		}
		_, err := io.Copy(archive, within(ctx, from))
		return err
	}
	if err := put(manifestName, int64(len(header)), newReader(header)); err != nil {
		return err
	}
	for _, file := range m.Files {
		f, err := os.Open(filepath.Join(root, filepath.FromSlash(file.Name)))
		if err != nil {
			return err
		}
		if err := errors.Join(put(file.Name, file.Size, f), f.Close()); err != nil {
			return err
		}
	}
	if err := errors.Join(archive.Close(), packed.Close()); err != nil {
		return err
	}
	_, err = w.Write(seal(sum))
	return err
}
