package history

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"syscall"

	"go.uber.org/zap"
)

// ErrAbandoned: the disk failed while the databases were open.
var ErrAbandoned = errors.New("the disk of the history failed, no readings are kept or found: mend the disk, then restart")

// use guards the databases against being closed while somebody reads. The
// zero value is open.
type use struct {
	mu   sync.RWMutex
	gone bool
}

// begin lets the caller read until it calls end; false: there is nothing left
// to read.
func (u *use) begin() (end func(), ok bool) {
	u.mu.RLock()
	if u.gone {
		u.mu.RUnlock()
		return nil, false
	}
	return u.mu.RUnlock, true
}

// watchHealth closes the databases for good when their disk has turned
// read-only or fails. The database ends the process when it cannot write a
// chunk, which it tries once a minute; alarms must go on.
func (s *Store) watchHealth() {
	err := probe(s.cfg.Folder)
	if !errors.Is(err, syscall.EROFS) && !errors.Is(err, syscall.EIO) {
		return // in good health, or full, which passes
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.use.mu.Lock()
	defer s.use.mu.Unlock()
	if s.use.gone {
		return
	}
	s.use.gone = true
	s.log.Error("history abandoned: mend the disk, then restart; alarms go on", zap.Error(err), zap.NamedError("close", s.closeAll()))
}

// probe writes a file, and removes it.
func probe(folder string) error {
	path := filepath.Join(folder, "probe")
	return errors.Join(os.WriteFile(path, []byte("x"), 0o600), os.Remove(path))
}

// closeAll closes both databases. What one cannot write it panics over.
func (s *Store) closeAll() error {
	return errors.Join(recovered(s.raw.Close), recovered(s.hourly.Close))
}

func recovered(fn func() error) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("close history: %v", p)
		}
	}()
	return fn()
}
