package backup

import (
	"archive/tar"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/klauspost/compress/zstd"
)

// Verify reads the whole archive and checks every sum in it.
func Verify(ctx context.Context, path string) (Manifest, error) {
	m, err := unpack(ctx, path, func(_ File, r io.Reader) error {
		_, err := io.Copy(io.Discard, r)
		return err
	})
	if err != nil {
		return m, fmt.Errorf("check %s: %w", path, err)
	}
	return m, nil
}

// incomplete is the folder that a restore writes into until all is there.
const incomplete = "restore-incomplete"

// Restore gives the content of an archive back into a folder, which must be
// empty or not exist. Before it writes anything it verifies the whole archive;
// when it fails after that, the folder is empty again.
func Restore(ctx context.Context, path, folder string) (m Manifest, err error) {
	if err := empty(folder); err != nil {
		return m, fmt.Errorf("restore into %s: %w; name an empty or a new folder", folder, err)
	}
	if m, err = Verify(ctx, path); err != nil {
		return m, err
	}
	if err := restore(ctx, path, folder, m); err != nil {
		return m, fmt.Errorf("restore into %s: %w", folder, err)
	}
	return m, nil
}

// empty tells whether there is nothing in a folder but what a file system
// puts there by itself.
func empty(folder string) error {
	entries, err := os.ReadDir(folder)
	if errors.Is(err, os.ErrNotExist) {
		return nil
	}
	for _, e := range entries {
		if e.Name() != "lost+found" {
			return fmt.Errorf("%w: there is %s in it", ErrNotEmpty, e.Name())
		}
	}
	return err
}

func restore(ctx context.Context, path, folder string, checked Manifest) (err error) {
	if err := os.MkdirAll(folder, 0o700); err != nil {
		return err
	}
	stage := filepath.Join(folder, incomplete)
	if err := os.Mkdir(stage, 0o700); err != nil {
		return err
	}
	parts := []string{stateFile, historyFolder} // what must not be lost comes first
	defer func() {
		err = errors.Join(err, os.RemoveAll(stage))
		for _, part := range parts {
			if err != nil {
				err = errors.Join(err, os.RemoveAll(filepath.Join(folder, part)))
			}
		}
	}()
	folders := map[string]bool{stage: true}
	m, err := unpack(ctx, path, func(f File, r io.Reader) error {
		to := filepath.Join(stage, filepath.FromSlash(f.Name))
		for dir := filepath.Dir(to); !folders[dir]; dir = filepath.Dir(dir) {
			folders[dir] = true
		}
		return extract(to, r)
	})
	if err != nil {
		return err
	}
	if !m.Created.Equal(checked.Created) || m.Size() != checked.Size() {
		return fmt.Errorf("%w: it was changed while it was read", ErrDamaged)
	}
	for dir := range folders {
		if err := syncFolder(dir); err != nil {
			return err
		}
	}
	for _, part := range parts {
		if err := os.Rename(filepath.Join(stage, part), filepath.Join(folder, part)); err != nil && !errors.Is(err, os.ErrNotExist) {
			return err
		}
	}
	return syncFolder(folder)
}

func extract(path string, r io.Reader) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	_, err = io.Copy(f, r)
	return errors.Join(err, f.Sync(), f.Close())
}

// unpack calls take for every file of an archive and checks what take has
// read. Nothing counts before unpack has returned nil: the sum of a file is
// known at its end, that of the archive at the very end.
func unpack(ctx context.Context, path string, take func(File, io.Reader) error) (m Manifest, err error) {
	f, err := os.Open(path)
	if err != nil {
		return m, err
	}
	defer f.Close()
	under, err := openSealed(f)
	if err != nil {
		return m, err
	}
	packed, err := zstd.NewReader(within(ctx, under), zstd.WithDecoderConcurrency(1))
	if err != nil {
		return m, err
	}
	defer packed.Close()
	archive := tar.NewReader(packed)
	if m, err = head(archive); err != nil {
		return m, errors.Join(ctx.Err(), err)
	}
	for _, file := range m.Files {
		if err := one(archive, file, take); err != nil {
			return m, errors.Join(ctx.Err(), err)
		}
	}
	if _, err := archive.Next(); err != io.EOF {
		return m, errors.Join(ctx.Err(), fmt.Errorf("%w: it does not end after the last file", ErrDamaged))
	}
	if _, err := io.Copy(io.Discard, packed); err != nil {
		return m, errors.Join(ctx.Err(), damaged("its end", err))
	}
	return m, under.check()
}

func damaged(what string, err error) error {
	return fmt.Errorf("%w: %s cannot be read: %w; take another one", ErrDamaged, what, err)
}

func head(archive *tar.Reader) (Manifest, error) {
	h, err := archive.Next()
	if err != nil {
		return Manifest{}, damaged("its beginning", err)
	}
	if h.Name != manifestName || h.Size > maxManifest {
		return Manifest{}, fmt.Errorf("%w: it does not begin with a manifest", ErrDamaged)
	}
	data, err := io.ReadAll(archive)
	if err != nil {
		return Manifest{}, damaged("its manifest", err)
	}
	return parse(data)
}

func one(archive *tar.Reader, file File, take func(File, io.Reader) error) error {
	h, err := archive.Next()
	if err != nil {
		return damaged(file.Name, err)
	}
	if h.Name != file.Name || h.Typeflag != tar.TypeReg || h.Size != file.Size {
		return fmt.Errorf("%w: where %s should be there is something else", ErrDamaged, file.Name)
	}
	sum := sha256.New()
	from := &source{r: archive}
	if err := take(file, io.TeeReader(from, sum)); from.err != nil {
		return damaged(file.Name, from.err)
	} else if err != nil {
		return err
	}
	if got := hex.EncodeToString(sum.Sum(nil)); got != file.SHA256 {
		return fmt.Errorf("%w: %s has another checksum than when it was written; take another one", ErrDamaged, file.Name)
	}
	return nil
}

// source keeps an error of reading apart from one of writing.
type source struct {
	r   io.Reader
	err error
}

func (s *source) Read(p []byte) (int, error) {
	n, err := s.r.Read(p)
	if err != nil && err != io.EOF {
		s.err = err
	}
	return n, err
}
