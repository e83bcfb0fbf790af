// Package state keeps what must survive a restart in a folder: baselines and
// the alarm list, one JSON document each. A document is replaced as a whole
// or not at all: it is written beside the old one, synced, and renamed over
// it. The folder belongs to one process at a time, which a lock file shows.
// Its data come from the packages that own the documents.
package state

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"sync"
)

// A Dir is an open data folder. Safe for concurrent use.
type Dir struct {
	path string
	lock *os.File
	mu   sync.Mutex
}

// documentName keeps names from leaving the folder.
var documentName = regexp.MustCompile(`^[a-z][a-z0-9-]*$`)

// OpenDir opens the folder, making it if it is not there, readable by its owner
// only. The error wraps ErrInUse when another process has it open.
func OpenDir(path string) (*Dir, error) {
	if err := os.MkdirAll(path, 0o700); err != nil {
		return nil, fmt.Errorf("open data folder: %w", err)
	}
	lock, err := lockFile(filepath.Join(path, "lock"))
	if err != nil {
		return nil, fmt.Errorf("open data folder %s: %w", path, err)
	}
	return &Dir{path: path, lock: lock}, nil
}

// Path returns where the folder is.
func (d *Dir) Path() string { return d.path }

// Close gives the folder free.
func (d *Dir) Close() error { return d.lock.Close() }

// Save writes v, as JSON, as the document name. When it returns nil the
// document is on disk; after an error the old one is still whole.
func (d *Dir) Save(name string, v any) error {
	path, err := d.file(name)
	if err != nil {
		return err
	}
	data, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("save %s: %w", name, err)
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if err := replace(path, data); err != nil {
		return fmt.Errorf("save %s: %w", name, err)
	}
	return nil
}

// Load reads the document name into v; found is false, and v untouched, when
// there is none. A document that cannot be read is an error with its path:
// nothing is thrown away silently.
func (d *Dir) Load(name string, v any) (found bool, err error) {
	path, err := d.file(name)
	if err != nil {
		return false, err
	}
	d.mu.Lock()
	data, err := os.ReadFile(path)
	d.mu.Unlock()
	if errors.Is(err, fs.ErrNotExist) {
		return false, nil
	}
	if err != nil {
		return false, fmt.Errorf("load %s: %w", name, err)
	}
	dec := json.NewDecoder(bytes.NewReader(data))
	if err := dec.Decode(v); err != nil {
		return false, fmt.Errorf("load %s: %s is damaged: %w; move the file away to start without it, or put back a copy", name, path, err)
	}
	return true, nil
}

func (d *Dir) file(name string) (string, error) {
	if !documentName.MatchString(name) {
		return "", fmt.Errorf("document name %q: use lower-case letters, digits and hyphens", name)
	}
	return filepath.Join(d.path, name+".json"), nil
}

func replace(path string, data []byte) (err error) {
	tmp, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".new-*")
	if err != nil {
		return err
	}
	defer func() {
		if err != nil {
			os.Remove(tmp.Name())
		}
	}()
	_, err = tmp.Write(data)
	if err = errors.Join(err, tmp.Sync(), tmp.Close()); err != nil {
		return err
	}
	if err = os.Rename(tmp.Name(), path); err != nil {
		return err
	}
	return syncFolder(filepath.Dir(path))
}
