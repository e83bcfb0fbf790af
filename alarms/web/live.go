package web

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
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
// stops: "changed" at once and after every change, "beat" in between.
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
	kind := "changed"
	for {
		next := s.hub.next()
		now := time.Now()
		if err := out.SetWriteDeadline(now.Add(streamWrites)); err != nil {
			return
		}
		version := s.version()
		data, _ := json.Marshal(Change{Version: version, Time: now.UTC()})
		if _, err := fmt.Fprintf(w, "event: %s\nid: %s\ndata: %s\n\n", kind, version, data); err != nil {
			return
		}
		if err := out.Flush(); err != nil {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-beat.C:
			kind = "beat"
		case <-next:
			kind = "changed"
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
