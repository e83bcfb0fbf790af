package collector

import (
	"errors"
	"fmt"
	"sync/atomic"
	"time"
)

// A Calendar knows which planned work is under way. The zero Calendar has no
// work in it. Safe for concurrent use; SetFleet replaces its content.
type Calendar struct {
	windows atomic.Pointer[[]workWindow]
}

type workWindow struct {
	work      PlannedWork
	resources map[string]bool
	once      time.Time // of a one-off; else zero
	starts    Schedule  // of a recurring one
}

// SetFleet takes the planned work of f. With an error the old content stays.
func (c *Calendar) SetFleet(f *Fleet) error {
	windows := make([]workWindow, 0, len(f.PlannedWork))
	var errs []error
	for _, w := range f.PlannedWork {
		window, err := newWorkWindow(w)
		if err != nil {
			errs = append(errs, fmt.Errorf("planned work %q: %w", w.ID, err))
		}
		windows = append(windows, window)
	}
	if err := errors.Join(errs...); err != nil {
		return err
	}
	c.windows.Store(&windows)
	return nil
}

func newWorkWindow(w PlannedWork) (workWindow, error) {
	window := workWindow{work: w, resources: make(map[string]bool, len(w.Resources))}
	for _, r := range w.Resources {
		window.resources[r] = true
	}
	if w.Duration <= 0 {
		return window, errors.New("its duration must be longer than zero")
	}
	if at, err := time.Parse(time.RFC3339, w.Start); err == nil {
		window.once = at
		return window, nil
	}
	var err error
	window.starts, err = ParseSchedule(w.Start, w.Location)
	return window, err
}

// During returns the planned work that is under way at now at one of the
// resources, and false when there is none. The begin counts as inside, the
// end as outside.
func (c *Calendar) During(resources []string, now time.Time) (PlannedWork, bool) {
	windows := c.windows.Load()
	if windows == nil {
		return PlannedWork{}, false
	}
	for i := range *windows {
		if w := &(*windows)[i]; w.touches(resources) && w.open(now) {
			return w.work, true
		}
	}
	return PlannedWork{}, false
}

func (w *workWindow) touches(resources []string) bool {
	for _, r := range resources {
		if w.resources[r] {
			return true
		}
	}
	return false
}

func (w *workWindow) open(now time.Time) bool {
	begin := w.once
	if begin.IsZero() {
		begin = w.starts.Next(now.Add(-w.work.Duration))
	}
	return !begin.After(now) && now.Before(begin.Add(w.work.Duration))
}
