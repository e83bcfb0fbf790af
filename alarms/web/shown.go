package web

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"

	"lightwell/alarms/web/access"
)

// Times of the pages that are kept.
const (
	shownAge  = 5 * time.Second        // ages in words grow old without a change
	shownPace = 300 * time.Millisecond // open pages are made no more often
	shownIdle = time.Minute            // after which a page that nobody asks for is forgotten
	shownMost = 256                    // pages kept before the idle ones are looked for
)

// partHeader asks for the part of a page that changes, by the value "main".
const partHeader = "Lightwell-Part"

// behindHeader tells a listener that the page is a moment old, and that it
// must look again although nothing further changes.
const behindHeader = "Lightwell-Behind"

// shown is the part of a page that is the same for everybody of one role. It
// is made once for each state, however many have the page open.
type shown struct {
	title string
	at    time.Time
	main  template.HTML
	tag   string // names the content, not when it was made

	once   sync.Once
	packed []byte // the part as open pages fetch it, compressed
}

// part is what an open page takes over.
func (p *shown) part() []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "<!doctype html><title>%s · Lightwell</title><span id=\"asof\">As of %s.</span>\n<main id=\"main\" tabindex=\"-1\">\n%s</main>",
		template.HTMLEscapeString(p.title), p.at.UTC().Format(utcLayout), p.main)
	return b.Bytes()
}

func (p *shown) zipped() []byte {
	p.once.Do(func() {
		var b bytes.Buffer
		_ = zip(&b, p.part())
		p.packed = b.Bytes()
	})
	return p.packed
}

// shownKey: pages differ by address and by what the reader may do.
type shownKey struct {
	role access.Role
	uri  string
}

type shownEntry struct {
	making sync.Mutex // one reader makes, the others wait
	page   *shown
	state  string // in which it was made
	deeds  uint64 // what people had done by then
	used   time.Time
}

// fresh tells whether the page still stands. An open page that follows is
// content with one that is a moment old, unless a person has done something.
func (e *shownEntry) fresh(now time.Time, state string, deeds uint64, follows bool) bool {
	if e.page == nil || now.Sub(e.page.at).Abs() > shownAge {
		return false
	}
	return e.state == state || follows && e.deeds == deeds && now.Sub(e.page.at).Abs() < shownPace
}

// gallery keeps the pages that people have open.
type gallery struct {
	mu    sync.Mutex
	pages map[shownKey]*shownEntry
}

func (g *gallery) entry(key shownKey, now time.Time) *shownEntry {
	g.mu.Lock()
	defer g.mu.Unlock()
	if g.pages == nil {
		g.pages = map[shownKey]*shownEntry{}
	}
	e := g.pages[key]
	if e == nil {
		for k, old := range g.pages {
			if len(g.pages) >= shownMost && (now.Sub(old.used) > shownIdle || len(g.pages) >= 2*shownMost) {
				delete(g.pages, k)
			}
		}
		e = &shownEntry{}
		g.pages[key] = e
	}
	e.used = now
	return e
}

// fill gives a frame its page and title; its error is a fault.
type fill func(r *http.Request, f *frame) error

// A fault is why a page cannot be shown.
type fault struct {
	status int
	detail string
}

func (f *fault) Error() string { return f.detail }

func notFound(detail string) error { return &fault{http.StatusNotFound, detail} }

// shows answers with a page that is shared by all who have it open.
func (s *Server) shows(name, nav string, fill fill) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		part := r.Header.Get(partHeader) == "main"
		p, behind, err := s.shown(r, name, nav, fill, part || r.Method == http.MethodHead)
		if err != nil {
			s.faulty(w, r, err)
			return
		}
		h := w.Header()
		h.Set("ETag", `"`+p.tag+`"`)
		if behind {
			h.Set(behindHeader, "yes")
		}
		h.Set("Content-Type", "text/html; charset=utf-8")
		switch {
		case r.Method == http.MethodHead:
		case part && takesGzip(r):
			h.Set("Content-Encoding", "gzip")
			_, _ = w.Write(p.zipped())
		case part:
			_, _ = w.Write(p.part())
		default:
			s.whole(w, r, http.StatusOK, &frame{Title: p.title, Nav: nav, Version: p.tag, Person: access.Who(r.Context()), Now: p.at, Main: p.main, Visits: s.cfg.Visits != nil, Hooks: s.cfg.Webhooks != nil})
		}
	}
}

func (s *Server) faulty(w http.ResponseWriter, r *http.Request, err error) {
	if f, ok := err.(*fault); ok {
		s.problem(w, r, f.status, f.detail)
		return
	}
	status := statusOf(err)
	s.problem(w, r, status, s.reason(err, status))
}

// shown returns the page as it is now, made by this call or by another's, or
// a moment old for one who follows it.
func (s *Server) shown(r *http.Request, name, nav string, fill fill, follows bool) (p *shown, behind bool, err error) {
	now := time.Now()
	e := s.gallery.entry(shownKey{access.Who(r.Context()).Role, r.URL.RequestURI()}, now)
	e.making.Lock()
	defer e.making.Unlock()
	state, deeds := s.version()+s.trouble(), s.hub.deeds()
	if e.fresh(now, state, deeds, follows) {
		return e.page, e.state != state, nil
	}
	f := s.frame(r, nav)
	if err := fill(r, f); err != nil {
		return nil, false, err
	}
	main, err := body(name, f)
	if err != nil {
		return nil, false, fmt.Errorf("make page %q: %w", name, err)
	}
	sum := sha256.Sum256(append([]byte(f.Title+"\n"), main...))
	e.page, e.state, e.deeds = &shown{title: f.Title, at: f.Now, main: template.HTML(main), tag: hex.EncodeToString(sum[:8])}, state, deeds
	return e.page, false, nil
}

func takesGzip(r *http.Request) bool {
	return strings.Contains(r.Header.Get("Accept-Encoding"), "gzip")
}

var zippers = sync.Pool{New: func() any {
	z, _ := gzip.NewWriterLevel(io.Discard, gzip.BestSpeed)
	return z
}}

// zip compresses data; pages hold no secret that a length could betray.
func zip(w io.Writer, data []byte) error {
	z := zippers.Get().(*gzip.Writer)
	defer zippers.Put(z)
	z.Reset(w)
	if _, err := z.Write(data); err != nil {
		return err
	}
	return z.Close()
}
