package notify

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"sync"
	"time"

	cloudevents "github.com/cloudevents/sdk-go/v2/event"

	"lightwell/collector"
)

// remembered is how many messages a Receiver remembers, to tell a repeated
// delivery from a new one.
const remembered = 4096

// Receiver is the other side of a webhook, for the demonstration, for tests
// and as an example: it takes a message once if its signature is right and
// its timestamp within Tolerance. Safe for concurrent use.
type Receiver struct {
	verifier *Verifier
	handle   func(cloudevents.Event)

	mu    sync.Mutex
	seen  map[string]bool
	order []string // of seen, oldest first
}

// NewReceiver verifies with the given keys (whsec_ or whpk_) and hands each
// event on once; handle may be called concurrently. Data of an alarm event
// decodes into an Alarm, that of a heartbeat into a Heartbeat.
func NewReceiver(keys []collector.Secret, handle func(cloudevents.Event)) (*Receiver, error) {
	v, err := NewVerifier(keys)
	if err != nil {
		return nil, err
	}
	return &Receiver{verifier: v, handle: handle, seen: map[string]bool{}}, nil
}

// ServeHTTP answers 204 to a good message, also to one it had before.
func (r *Receiver) ServeHTTP(w http.ResponseWriter, req *http.Request) {
	if req.Method != http.MethodPost {
		w.Header().Set("Allow", http.MethodPost)
		http.Error(w, "use POST", http.StatusMethodNotAllowed)
		return
	}
	body, err := io.ReadAll(http.MaxBytesReader(w, req.Body, 64<<10))
	if err != nil {
		http.Error(w, "body is too long or broke off", http.StatusRequestEntityTooLarge)
		return
	}
	if err := r.verifier.Verify(body, req.Header, time.Now()); err != nil {
		http.Error(w, err.Error(), http.StatusUnauthorized)
		return
	}
	e, err := decodeEvent(req.Header.Get("Content-Type"), body)
	if err != nil {
		http.Error(w, err.Error(), http.StatusUnsupportedMediaType)
		return
	}
	if r.isNew(e.Source() + " " + e.ID()) {
		r.handle(e)
	}
	w.WriteHeader(http.StatusNoContent)
}

func decodeEvent(contentType string, body []byte) (e cloudevents.Event, err error) {
	if !strings.HasPrefix(strings.ToLower(contentType), cloudevents.ApplicationCloudEventsJSON) {
		return e, errors.New("not a CloudEvent in structured JSON")
	}
	if err := json.Unmarshal(body, &e); err != nil {
		return e, fmt.Errorf("read event: %w", err)
	}
	return e, e.Validate()
}

func (r *Receiver) isNew(key string) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.seen[key] {
		return false
	}
	if len(r.order) >= remembered {
		delete(r.seen, r.order[0])
		r.order = r.order[1:]
	}
	r.seen[key] = true
	r.order = append(r.order, key)
	return true
}
