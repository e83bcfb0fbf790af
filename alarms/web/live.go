package web

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"
)

// Times of the stream of changes.
const (
	beatEvery    = 10 * time.Second       // a beat, so that a page can tell silence from death
	calmFor      = 200 * time.Millisecond // changes that come faster are told together
	streamWrites = 10 * time.Second       // a listener that takes longer is dropped
	comeBack     = 2 * time.Second        // after a lost connection
)

// hub wakes everybody who waits for a change, whether it comes from the engine
// or from what a person did here.
type hub struct {
	process string
	mu      sync.Mutex
	own     uint64
	wake    chan struct{} // closed at the next change
}

func newHub(process string) *hub { return &hub{process: process, wake: make(chan struct{})} }

// changed tells that a person did something.
func (h *hub) changed() {
	h.mu.Lock()
	h.own++
	h.mu.Unlock()
	h.tell()
}

func (h *hub) tell() {
	h.mu.Lock()
	defer h.mu.Unlock()
	close(h.wake)
	h.wake = make(chan struct{})
}

func (h *hub) next() <-chan struct{} {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.wake
}

func (h *hub) version(engine uint64) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return fmt.Sprintf("%s-%d-%d", h.process, engine, h.own)
}

// deeds counts what people have done.
func (h *hub) deeds() uint64 {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.own
}

// run passes on what the engine signals, until ctx ends.
func (h *hub) run(ctx context.Context, subscribe func() (<-chan struct{}, func())) error {
	signals, end := subscribe()
	defer end()
	for {
		select {
		case <-ctx.Done():
			return nil
		case _, open := <-signals:
			if !open {
				return nil
			}
			h.tell()
		}
	}
}

// Change is one message of the stream: something has changed, look again.
type Change struct {
	Version string    `json:"version" doc:"Name of the state; it is never used twice."`
	Time    time.Time `json:"time"`
}

// stream sends server-sent events until the client leaves or the server
// stops: "changed" at once and after every change, "beat" in between. With
// the query page it tells only of changes that this page shows.
func (s *Server) stream(w http.ResponseWriter, r *http.Request) {
	out := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no")
	if err := out.SetReadDeadline(time.Time{}); err != nil {
		s.problem(w, r, http.StatusInternalServerError, "this connection cannot be kept open")
		return
	}
	beat := time.NewTicker(beatEvery)
	defer beat.Stop()
	_, _ = fmt.Fprintf(w, "retry: %d\n\n", comeBack.Milliseconds())
	told, due := "", false
	for {
		next := s.hub.next()
		version, behind := s.watched(r)
		if version != told {
			if tell(w, out, "changed", version) != nil {
				return
			}
			told = version
		} else if due && tell(w, out, "beat", version) != nil {
			return
		}
		var again <-chan time.Time
		if behind {
			again = time.After(shownPace)
		}
		due = false
		select {
		case <-r.Context().Done():
			return
		case <-beat.C:
			due = true
		case <-again:
		case <-next:
			select {
			case <-r.Context().Done():
				return
			case <-time.After(calmFor):
			}
		}
		if _, err := s.guard.SignIn(r, time.Now()); err != nil {
			return // signed out, or the token is gone
		}
	}
}

func tell(w io.Writer, out *http.ResponseController, kind, version string) error {
	now := time.Now()
	if err := out.SetWriteDeadline(now.Add(streamWrites)); err != nil {
		return err
	}
	data, err := json.Marshal(Change{Version: version, Time: now.UTC()})
	if err != nil {
		return err
	}
	if _, err := fmt.Fprintf(w, "event: %s\nid: %s\ndata: %s\n\n", kind, version, data); err != nil {
		return err
	}
	return out.Flush()
}

// watched names the state of the page that a listener has open, or of
// everything; behind: look again soon.
func (s *Server) watched(r *http.Request) (version string, behind bool) {
	page := r.URL.Query().Get("page")
	at, err := url.Parse(page)
	if page == "" || err != nil || !local(page) || strings.HasPrefix(at.Path, "/api/") {
		return s.version(), false
	}
	look := r.Clone(r.Context())
	look.Method, look.URL, look.RequestURI = http.MethodHead, at, page
	head := statusOnly{header: http.Header{}}
	s.inner.ServeHTTP(&head, look)
	if tag := head.header.Get("ETag"); tag != "" {
		return strings.Trim(tag, `"`), head.header.Get(behindHeader) != ""
	}
	return s.version(), false
}
