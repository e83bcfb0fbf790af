package backup

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"regexp"
	"runtime"
	"strings"
	"time"
)

const (
	manifestName = "manifest.json"
	format       = "lightwell-backup/1"
	maxManifest  = 64 << 20 // some 400,000 files
)

// A Manifest is the head of an archive.
type Manifest struct {
	Format  string    `json:"format"`
	Created time.Time `json:"created"`
	Program string    `json:"program"` // version that wrote it
	State   bool      `json:"state"`   // false: kept in a database with tools of its own
	History bool      `json:"history"`
	Files   []File    `json:"files"`
}

// A File is one file of an archive.
type File struct {
	Name   string `json:"name"` // with slashes, below the data folder
	Size   int64  `json:"size"`
	SHA256 string `json:"sha256"` // of its content, in hexadecimal digits
}

// Size returns the bytes of all files.
func (m Manifest) Size() int64 {
	var n int64
	for _, f := range m.Files {
		n += f.Size
	}
	return n
}

// Errors that others wrap.
var (
	// ErrDamaged: the archive is not what was written.
	ErrDamaged = errors.New("archive is damaged")
	// ErrNewer: the archive has a format that this program does not know.
	ErrNewer = errors.New("archive was written by a newer version of this program")
	// ErrNotEmpty: a restore needs an empty folder.
	ErrNotEmpty = errors.New("folder is not empty")
)

var sumForm = regexp.MustCompile(`^[0-9a-f]{64}$`)

// parse reads and checks a manifest. No file of it may lead out of the
// folder, or be anything but state and history.
func parse(data []byte) (m Manifest, err error) {
	if err := json.Unmarshal(data, &m); err != nil {
		return m, fmt.Errorf("%w: its manifest cannot be read: %w", ErrDamaged, err)
	}
	if m.Format != format {
		if strings.HasPrefix(m.Format, strings.TrimSuffix(format, "1")) {
			return m, fmt.Errorf("%w: it has format %q, this one knows %q; use that version", ErrNewer, m.Format, format)
		}
		return m, fmt.Errorf("%w: it says of itself that it is %q", ErrDamaged, m.Format)
	}
	seen := map[string]bool{}
	for _, f := range m.Files {
		ours := f.Name == stateFile && m.State || strings.HasPrefix(f.Name, historyFolder+"/") && m.History
		if !ours || !fs.ValidPath(f.Name) || strings.ContainsAny(f.Name, "\\:\x00") || seen[f.Name] || f.Size < 0 || !sumForm.MatchString(f.SHA256) {
			return m, fmt.Errorf("%w: its manifest names the file %q", ErrDamaged, f.Name)
		}
		seen[f.Name] = true
	}
	if m.State && !seen[stateFile] {
		return m, fmt.Errorf("%w: its manifest names no state", ErrDamaged)
	}
	return m, nil
}

func newReader(data []byte) io.Reader { return bytes.NewReader(data) }

// within reads until ctx ends.
func within(ctx context.Context, r io.Reader) io.Reader { return &bounded{ctx, r} }

type bounded struct {
	ctx context.Context
	r   io.Reader
}

func (b *bounded) Read(p []byte) (int, error) {
	if err := b.ctx.Err(); err != nil {
		return 0, err
	}
	return b.r.Read(p)
}

// syncFolder brings the names in a folder to disk, where the system can.
func syncFolder(path string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return errors.Join(f.Sync(), f.Close())
}
