package notify

import (
	"context"
	"crypto/x509"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"reflect"
	"slices"
	"sync"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms"
)

// Config is what a Dispatcher needs.
type Config struct {
	Source    string // CloudEvents source of this daemon: a URI reference like /lightwell/ID
	Endpoints []Endpoint
	Outbox    Outbox // nil: a MemoryOutbox of DefaultOutboxSize
	// Current returns an alarm as it stands now (List.Alarm): reminders tell
	// its newest details and stop when it is gone. Nil: as last published.
	Current func(id string) (alarms.Alarm, bool)
	RootCAs *x509.CertPool    // to verify receivers; nil: those of the system
	Via     http.RoundTripper // nil: a transport that checks addresses
	Log     *zap.Logger       // nil: none
}

// Dispatcher puts changes of alarms into the outbox and sends what is there.
// Safe for concurrent use.
type Dispatcher struct {
	cfg     Config
	reload  chan struct{} // holds one signal for Run
	mu      sync.Mutex
	senders []*sender // in the order of the configuration
}

// ErrNoEndpoint is returned for a name that is not configured.
var ErrNoEndpoint = errors.New("no such webhook endpoint")

// New checks the configuration and returns a dispatcher that sends nothing
// until Run. The error joins every fault.
func New(cfg Config) (*Dispatcher, error) {
	if cfg.Log == nil {
		cfg.Log = zap.NewNop()
	}
	if cfg.Outbox == nil {
		cfg.Outbox = NewMemoryOutbox(DefaultOutboxSize)
	}
	if _, err := url.Parse(cfg.Source); err != nil || cfg.Source == "" {
		return nil, fmt.Errorf("webhook source %q is not a URI reference", cfg.Source)
	}
	d := &Dispatcher{cfg: cfg, reload: make(chan struct{}, 1)}
	if err := d.SetEndpoints(cfg.Endpoints); err != nil {
		return nil, err
	}
	return d, nil
}

// SetEndpoints replaces the endpoints. With any fault it changes nothing. An
// endpoint that is the same as before goes on undisturbed; one that changed
// keeps its pending messages and its figures, and is active again if it was
// stopped; messages of one that is gone become dead.
func (d *Dispatcher) SetEndpoints(endpoints []Endpoint) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	old := map[string]*sender{}
	for _, s := range d.senders {
		old[s.endpoint.Name] = s
	}
	var errs []error
	var senders []*sender
	seen := map[string]bool{}
	for _, e := range endpoints {
		if seen[e.Name] {
			errs = append(errs, fmt.Errorf("endpoint %q: name is there twice; give each its own", e.Name))
			continue
		}
		seen[e.Name] = true
		if s := old[e.Name]; s != nil && reflect.DeepEqual(s.endpoint, e) {
			senders = append(senders, s)
			continue
		}
		s, err := newSender(&d.cfg, e, old[e.Name])
		senders, errs = append(senders, s), append(errs, err)
	}
	if err := errors.Join(errs...); err != nil {
		return err
	}
	d.senders = senders
	signal(d.reload)
	for name := range old {
		if !seen[name] {
			d.bury(name)
		}
	}
	return nil
}

// bury makes the pending messages of an endpoint dead.
func (d *Dispatcher) bury(endpoint string) {
	entries, err := d.cfg.Outbox.List(endpoint)
	for i := range entries {
		entries[i].State, entries[i].Reason = Dead, "endpoint was removed from the configuration"
	}
	if err == nil {
		err = d.cfg.Outbox.Update(entries...)
	}
	if err != nil {
		d.cfg.Log.Error("write webhook outbox", zap.String("endpoint", endpoint), zap.Error(err))
	}
}

// Publish puts the changes into the outbox of every endpoint that wants them
// and returns; it waits for no network. The error is that of the outbox: then
// nothing was taken, and the same changes may be published again.
func (d *Dispatcher) Publish(changes []alarms.Change) error {
	entries := d.Messages(changes, time.Now())
	if err := d.cfg.Outbox.Append(entries); err != nil {
		return fmt.Errorf("append %d webhooks to the outbox: %w", len(entries), err)
	}
	d.Published(changes, entries)
	return nil
}

// Messages makes the messages of changes for every endpoint that wants them,
// and does nothing else: for a caller that puts them into the outbox in the
// same transaction as the changes, and then calls Published. The same changes
// make messages with the same ids.
func (d *Dispatcher) Messages(changes []alarms.Change, now time.Time) []Entry {
	d.mu.Lock()
	defer d.mu.Unlock()
	var entries []Entry
	for i := range changes {
		entries = append(entries, d.entries(&changes[i], now)...)
	}
	return entries
}

// Published tells that entries made from changes are in the outbox.
func (d *Dispatcher) Published(changes []alarms.Change, entries []Entry) {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := time.Now()
	for _, s := range d.senders {
		s.countDead(entries, now)
		s.observe(changes, now)
		signal(s.wake)
	}
}

// entries makes the message of a change for each endpoint that wants it.
// Endpoints without a template share one body.
func (d *Dispatcher) entries(c *alarms.Change, now time.Time) []Entry {
	var out []Entry
	var m Message
	var standard []byte
	var standardErr error
	for _, s := range d.senders {
		if !s.endpoint.Wants(c) {
			continue
		}
		if m.ID == "" {
			m = alarmMessage(d.cfg.Source, c)
		}
		body, err := standard, standardErr
		switch {
		case s.template != nil:
			body, err = render(s.template, s.endpoint.contentType(), &m)
		case body == nil && err == nil:
			body, err = encode(&m)
			standard, standardErr = body, err
		}
		out = append(out, s.entry(&m, c.Alarm.ID, body, err, now))
	}
	return out
}

// Restore tells which alarms stand after a restart, so that reminders go on.
func (d *Dispatcher) Restore(list []alarms.Alarm) {
	d.mu.Lock()
	defer d.mu.Unlock()
	now := time.Now()
	for i := range list {
		for _, s := range d.senders {
			s.remind(&list[i], 0, now)
		}
	}
	for _, s := range d.senders {
		signal(s.wake)
	}
}

// Run sends until ctx ends. Requests under way may then take StopGrace more;
// messages whose requests are broken off stay in the outbox. Call it once.
func (d *Dispatcher) Run(ctx context.Context) error {
	type running struct {
		stop context.CancelFunc
		done chan struct{}
	}
	at := map[*sender]running{}
	for {
		want := d.current()
		for s, r := range at {
			if want[s] && ctx.Err() == nil {
				continue
			}
			r.stop()
			<-r.done // before its successor starts, so that the order per alarm holds
			delete(at, s)
		}
		if ctx.Err() != nil {
			return nil
		}
		for s := range want {
			if _, ok := at[s]; ok {
				continue
			}
			sctx, stop := context.WithCancel(ctx)
			r := running{stop, make(chan struct{})}
			at[s] = r
			go func() {
				defer close(r.done)
				s.run(sctx)
			}()
		}
		select {
		case <-ctx.Done():
		case <-d.reload:
		}
	}
}

func (d *Dispatcher) current() map[*sender]bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	out := make(map[*sender]bool, len(d.senders))
	for _, s := range d.senders {
		out[s] = true
	}
	return out
}

func (d *Dispatcher) sender(name string) (*sender, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	for _, s := range d.senders {
		if s.endpoint.Name == name {
			return s, nil
		}
	}
	return nil, fmt.Errorf("%w: %q", ErrNoEndpoint, name)
}

// Resume makes an endpoint that answered 410 active again; what waited for it
// is sent.
func (d *Dispatcher) Resume(endpoint string) error {
	s, err := d.sender(endpoint)
	if err == nil {
		s.resume()
	}
	return err
}

// Resend makes dead messages of an endpoint pending again, with all their
// attempts: those with the given ids, or all. It returns how many there were.
func (d *Dispatcher) Resend(endpoint string, ids ...string) (int, error) {
	s, err := d.sender(endpoint)
	if err != nil {
		return 0, err
	}
	n, err := s.revive(func(e *Entry) bool {
		return e.State == Dead && len(e.Body) > 0 && (len(ids) == 0 || slices.Contains(ids, e.ID))
	}, time.Now(), true)
	signal(s.wake)
	return n, err
}

// Drop forgets dead messages of an endpoint: those with the given ids, or all.
// It returns how many there were.
func (d *Dispatcher) Drop(endpoint string, ids ...string) (int, error) {
	entries, err := d.Entries(endpoint)
	if err != nil {
		return 0, err
	}
	var gone []Entry
	for _, e := range entries {
		if e.State == Dead && (len(ids) == 0 || slices.Contains(ids, e.ID)) {
			e.State = Delivered // leaves the outbox
			gone = append(gone, e)
		}
	}
	return len(gone), d.cfg.Outbox.Update(gone...)
}

// Entries returns the pending and dead messages of an endpoint.
func (d *Dispatcher) Entries(endpoint string) ([]Entry, error) {
	if _, err := d.sender(endpoint); err != nil {
		return nil, err
	}
	return d.cfg.Outbox.List(endpoint)
}

// Stats returns the figures of every endpoint, in the order of the
// configuration.
func (d *Dispatcher) Stats() []Stats {
	d.mu.Lock()
	senders := append([]*sender(nil), d.senders...)
	d.mu.Unlock()
	out := make([]Stats, len(senders))
	for i, s := range senders {
		out[i] = s.figures()
	}
	return out
}

// signal leaves one signal in a channel that holds one.
func signal(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}
