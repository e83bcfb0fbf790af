package visit

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/collector"
	"lightwell/collector/history"
	"lightwell/collector/state"
)

// A Filter chooses visits of a list. The zero Filter passes all.
type Filter struct {
	Site   string // empty: any
	Before string // id of the visit that the page before ended with; empty: from the newest on
	Limit  int    // at most so many; 0: state.DefaultLimit
	Going  bool   // only those that are not closed
	Since  time.Time
}

// A Store keeps visits for ever.
type Store interface {
	// Put stores a visit and the line of the log that tells of it, both or
	// neither.
	Put(v Visit, line state.AuditRow) error
	// Visit returns a visit whole.
	Visit(id string) (Visit, error)
	// List returns visits without their levels, newest first.
	List(f Filter) ([]Visit, error)
}

// Config holds the sources of a Book. Store, Fleet, Units and Alarms are
// needed.
type Config struct {
	Store   Store
	Fleet   func() *collector.Fleet
	Units   func(site string) []alarms.UnitView
	Alarms  func(site string) []alarms.Alarm
	History history.Source     // nil: the last readings count
	Event   func(alarms.Event) // told of begin, end and forgotten visits; nil: nobody
	Closed  func(Proof)        // told of a visit once the levels after it are known; nil: nobody
	Log     *zap.Logger        // nil: silent
}

// RecentFor is how long a visit that is over is still taken for the reason of
// what is found at its site.
const RecentFor = 7 * 24 * time.Hour

// A Book holds the visits. Its methods are safe for concurrent use.
type Book struct {
	cfg    Config
	recent atomic.Pointer[map[int64]*Visit] // not closed, or lately; none of them is ever changed

	writing sync.Mutex // held by who adds or replaces a visit
	last    int64      // highest number in use
}

// NewBook reads the visits that are open or recent.
func NewBook(cfg Config, now time.Time) (*Book, error) {
	if cfg.Log == nil {
		cfg.Log = zap.NewNop()
	}
	if cfg.Event == nil {
		cfg.Event = func(alarms.Event) {}
	}
	if cfg.Closed == nil {
		cfg.Closed = func(Proof) {}
	}
	b := &Book{cfg: cfg}
	recent := map[int64]*Visit{}
	for _, f := range []Filter{{Limit: 1}, {Going: true}, {Since: now.Add(-RecentFor - MaxLimit)}} {
		list, err := cfg.Store.List(f)
		if err != nil {
			return nil, fmt.Errorf("read visits: %w", err)
		}
		for _, v := range list {
			recent[v.number] = &v
			b.last = max(b.last, v.number)
		}
	}
	b.recent.Store(&recent)
	return b, nil
}

// Begin records that people are at a site, with the levels as they are. The
// site must have no open visit.
func (b *Book) Begin(ctx context.Context, r Begin, who Actor, now time.Time) (Visit, error) {
	now = utc(now)
	v, err := r.visit(b.cfg.Fleet(), now)
	if err != nil {
		return Visit{}, err
	}
	if err := b.free(r.Site); err != nil {
		return Visit{}, err
	}
	v.Before = b.levels(ctx, v.Site, v.Begun.Add(-beforeWindow), v.Begun, time.Time{})
	v.AlarmsBefore, v.AlarmsAfter = noted(b.cfg.Alarms(v.Site)), []Alarm{}
	b.writing.Lock()
	defer b.writing.Unlock()
	if err := b.free(r.Site); err != nil {
		return Visit{}, err
	}
	v.number = b.last + 1
	v.ID = idOf(v.number)
	detail := fmt.Sprintf("%s by %s until %s at the latest, at %s: %s", v.ID, v.By, stamp(v.Until), strings.Join(v.Resources, ", "), v.Reason)
	if err := b.put(v, who, "visit-begun", detail, now); err != nil {
		return Visit{}, err
	}
	b.last = v.number
	b.tell(&v, now, alarms.EventVisitBegan, fmt.Sprintf("visit %s by %s began: %s", v.ID, v.By, v.Reason))
	return v, nil
}

// free refuses a second visit to a site. Two crews at one site share a visit:
// what moves while both work could not be told apart.
func (b *Book) free(site string) error {
	if v, open := b.Open(site); open {
		return fmt.Errorf("%w at site %q: %s by %s since %s; end it first, or add your work to it when it is ended", ErrConflict, site, v.ID, v.By, stamp(v.Begun))
	}
	return nil
}

// End records what a visit found and did. The levels after it are those of
// this moment until they have been read for a while.
func (b *Book) End(ctx context.Context, id string, r End, who Actor, now time.Time) (Visit, error) {
	now = utc(now)
	b.writing.Lock()
	defer b.writing.Unlock()
	v, err := b.cfg.Store.Visit(id)
	switch {
	case err != nil:
		return Visit{}, err
	case v.State != Open:
		return Visit{}, fmt.Errorf("%w: %s ended at %s", ErrOver, id, stamp(v.Ended))
	}
	if err := r.end(&v, b.cfg.Fleet(), now); err != nil {
		return Visit{}, err
	}
	v.After = b.levels(ctx, v.Site, v.Ended, v.Ended, v.Begun)
	v.AlarmsAfter = noted(b.cfg.Alarms(v.Site))
	detail := fmt.Sprintf("%s; found: %s; done: %s", v.ID, v.Found, v.Done)
	if err := b.put(v, who, "visit-ended", detail, now); err != nil {
		return Visit{}, err
	}
	b.tell(&v, now, alarms.EventVisitEnded, fmt.Sprintf("visit %s by %s ended: %s", v.ID, v.By, v.Done))
	return v, nil
}

// put stores a visit, and then shows it. The caller holds b.writing.
func (b *Book) put(v Visit, who Actor, what, detail string, now time.Time) error {
	if err := b.cfg.Store.Put(v, state.AuditRow{Time: now, Who: who.Name, From: who.From, What: what, Detail: detail, Site: v.Site}); err != nil {
		return fmt.Errorf("%w (%w)", ErrNotStored, err)
	}
	recent := maps.Clone(*b.recent.Load())
	maps.DeleteFunc(recent, func(_ int64, old *Visit) bool {
		return old.State == Closed && now.Sub(old.Ended) > RecentFor
	})
	v.Before, v.After = nil, nil
	recent[v.number] = &v
	b.recent.Store(&recent)
	return nil
}

func (b *Book) tell(v *Visit, now time.Time, kind alarms.EventKind, text string) {
	b.cfg.Log.Info(string(kind), zap.String("visit", v.ID), zap.String("site", v.Site), zap.String("by", v.By))
	b.cfg.Event(alarms.Event{Time: now, Site: v.Site, Resource: "site/" + v.Site, Kind: kind, Text: text})
}

// Visit returns a visit whole. The error wraps ErrUnknown for one that does
// not exist.
func (b *Book) Visit(id string) (Visit, error) { return b.cfg.Store.Visit(id) }

// List returns visits without their levels, newest first.
func (b *Book) List(f Filter) ([]Visit, error) { return b.cfg.Store.List(f) }

// Open returns the open visit at a site, without its levels.
func (b *Book) Open(site string) (Visit, bool) {
	return b.newest(func(v *Visit) bool { return v.State == Open && v.Site == site })
}

// Recent returns the open visit at a site, or the last one when it ended less
// than RecentFor ago; without its levels.
func (b *Book) Recent(site string, now time.Time) (Visit, bool) {
	return b.newest(func(v *Visit) bool { return v.Site == site && now.Sub(v.end(now)) < RecentFor })
}

// Visited returns the id of the visit that Recent returns, for those who need
// no more than to know that somebody was there.
func (b *Book) Visited(site string, now time.Time) (id string, ok bool) {
	v, ok := b.Recent(site, now)
	return v.ID, ok
}

func (b *Book) newest(fits func(*Visit) bool) (Visit, bool) {
	var best *Visit
	for _, v := range *b.recent.Load() {
		if fits(v) && (best == nil || v.number > best.number) {
			best = v
		}
	}
	if best == nil {
		return Visit{}, false
	}
	out := *best
	out.Resources = slices.Clone(best.Resources)
	return out, true
}

func utc(t time.Time) time.Time { return t.Round(0).UTC() }
