package notify

import (
	"context"
	"fmt"
	"math/rand/v2"
	"net/http"
	"sync"
	"text/template"
	"time"

	"go.uber.org/zap"
)

const (
	// parallel is how many messages of different alarms go to one endpoint at
	// a time.
	parallel = 4
	// MaxAge is how old a message may become; an older one is given up
	// whatever its attempts, as those of a stopped endpoint.
	MaxAge = 7 * 24 * time.Hour
	// throttlePause is how long an endpoint is left alone that asks for it
	// without saying how long.
	throttlePause = 5 * time.Second
	// downAfter is how many failures in a row make an endpoint count as down:
	// the next success then calls all waiting messages.
	downAfter = 3
	// StopGrace is how long requests under way may take when the program
	// stops.
	StopGrace = 5 * time.Second
	// outboxPause is how long to wait when the outbox itself fails.
	outboxPause = 5 * time.Second
)

// EndpointState says how an endpoint stands.
type EndpointState string

// States of an endpoint.
const (
	Active  EndpointState = "active"
	Failing EndpointState = "failing" // the last attempts failed
	Stopped EndpointState = "stopped" // answered 410: nothing is sent until Resume or a change of its configuration
)

// Stats are the figures of one endpoint since start.
type Stats struct {
	Endpoint    string        `json:"endpoint"`
	State       EndpointState `json:"state"`
	Attempts    uint64        `json:"attempts"`  // requests made, heartbeats too
	Failures    uint64        `json:"failures"`  // of Attempts, those that failed
	Delivered   uint64        `json:"delivered"` // messages, without heartbeats
	GivenUp     uint64        `json:"given_up"`  // messages refused for good, out of attempts or too old
	Dropped     uint64        `json:"dropped"`   // messages pushed out of a full outbox
	Pending     int           `json:"pending"`
	Dead        int           `json:"dead"`
	Oldest      time.Time     `json:"oldest_pending,omitzero"`
	PausedUntil time.Time     `json:"paused_until,omitzero"` // as the receiver asked
	LastSuccess time.Time     `json:"last_success,omitzero"`
	LastFailure time.Time     `json:"last_failure,omitzero"`
	LastError   string        `json:"last_error,omitempty"`
}

// sender sends to one endpoint.
type sender struct {
	cfg      *Config
	endpoint Endpoint
	signer   *Signer
	template *template.Template // nil: CloudEvents
	client   *http.Client
	wake     chan struct{} // holds one signal for run
	results  chan result

	mu        sync.Mutex
	stats     Stats // without the parts kept by the outbox
	inARow    int   // failures
	reminders map[string]*reminder

	// only used by run:
	inFlight      map[string]bool // alarm ids
	nextHeartbeat time.Time
	heartbeating  bool
}

type result struct {
	entry     Entry
	heartbeat bool
	verdict   verdict
}

// newSender checks and compiles an endpoint. Figures and reminders are taken
// over from before, which may be nil.
func newSender(cfg *Config, e Endpoint, before *sender) (*sender, error) {
	if err := e.Validate(); err != nil {
		return nil, err
	}
	s := &sender{
		cfg: cfg, endpoint: e, wake: make(chan struct{}, 1), results: make(chan result, parallel+1),
		reminders: map[string]*reminder{}, inFlight: map[string]bool{},
	}
	s.signer, _ = NewSigner(e.Secrets) // checked by Validate, as the template
	s.template, _ = e.template()
	s.stats = Stats{Endpoint: e.Name, State: Active}
	rt := cfg.Via
	if rt == nil {
		rt = newTransport(e, cfg.RootCAs)
	}
	s.client = newClient(rt)
	if before != nil {
		before.mu.Lock()
		defer before.mu.Unlock()
		s.stats = before.stats
		s.stats.State, s.stats.PausedUntil = Active, time.Time{}
		if e.Repeat > 0 {
			s.reminders = before.takeReminders(e)
		}
	}
	return s, nil
}

func (s *sender) entry(m *Message, alarm string, body []byte, err error, now time.Time) Entry {
	e := Entry{
		Endpoint: s.endpoint.Name, ID: m.ID, Alarm: alarm, Seq: m.Sequence, Type: m.Type, ContentType: s.endpoint.contentType(), Body: body,
		Created: now, State: Pending, NextAttempt: now,
	}
	if err != nil {
		e.Body, e.State, e.Reason = nil, Dead, "body: "+err.Error()
	}
	return e
}

// countDead counts messages that were dead from the start.
func (s *sender) countDead(entries []Entry, now time.Time) {
	for i := range entries {
		if e := &entries[i]; e.State == Dead && e.Endpoint == s.endpoint.Name {
			s.fail(e.Reason, now, true)
		}
	}
}

// run sends until ctx ends, and returns when no request is under way.
func (s *sender) run(ctx context.Context) {
	defer s.client.CloseIdleConnections()
	requests, breakOff := context.WithCancel(context.WithoutCancel(ctx))
	defer breakOff()
	defer context.AfterFunc(ctx, func() { graceThen(requests, breakOff) })()
	var under sync.WaitGroup
	defer s.finish(requests, &under)
	timer := time.NewTimer(0)
	defer timer.Stop()
	s.nextHeartbeat = time.Now()
	for {
		select {
		case <-ctx.Done():
			return
		case r := <-s.results:
			s.settle(requests, r)
		case <-s.wake:
		case <-timer.C:
		}
		if ctx.Err() != nil {
			return
		}
		next := s.step(requests, &under)
		timer.Stop()
		if !next.IsZero() {
			timer.Reset(time.Until(next))
		}
	}
}

// graceThen breaks requests off after StopGrace. It counts from the stop and not
// from when run notices it: an outbox that hangs takes from the grace.
func graceThen(requests context.Context, breakOff func()) {
	timer := time.NewTimer(StopGrace)
	defer timer.Stop()
	select {
	case <-timer.C:
		breakOff()
	case <-requests.Done():
	}
}

// finish waits for requests under way, which end with StopGrace at the latest,
// and writes down what became of them.
func (s *sender) finish(requests context.Context, under *sync.WaitGroup) {
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		under.Wait()
	}()
	for {
		select {
		case r := <-s.results:
			s.settle(requests, r)
			continue
		case <-ended:
		}
		select {
		case r := <-s.results:
			s.settle(requests, r)
		default:
			return
		}
	}
}

// step starts what is due and returns when to look again; zero: when woken.
func (s *sender) step(ctx context.Context, under *sync.WaitGroup) time.Time {
	now := time.Now()
	if until, stopped := s.resting(now); stopped {
		return time.Time{}
	} else if until.After(now) {
		return until
	}
	next := s.heartbeat(ctx, under, now)
	next = earliest(next, s.repeat(now))
	if len(s.inFlight) >= parallel {
		return next
	}
	due, later, err := s.cfg.Outbox.Due(s.endpoint.Name, now, parallel+len(s.inFlight))
	if err != nil {
		s.cfg.Log.Error("read webhook outbox", zap.String("endpoint", s.endpoint.Name), zap.Error(err))
		return earliest(next, now.Add(outboxPause))
	}
	for _, e := range due {
		switch {
		case s.inFlight[e.Alarm]:
		case now.Sub(e.Created) > MaxAge:
			s.giveUp(e, fmt.Sprintf("not delivered within %s; last: %s", MaxAge, e.Reason), now)
			signal(s.wake) // the next of this alarm may be due
		case len(s.inFlight) < parallel:
			s.inFlight[e.Alarm] = true
			s.start(ctx, under, result{entry: e})
		}
	}
	return earliest(next, later)
}

func (s *sender) start(ctx context.Context, under *sync.WaitGroup, r result) {
	under.Go(func() {
		r.verdict = s.attempt(ctx, &r.entry)
		s.results <- r // has room for all that can be under way
	})
}

// heartbeat sends one when it is time, and returns when the next is.
func (s *sender) heartbeat(ctx context.Context, under *sync.WaitGroup, now time.Time) time.Time {
	if s.endpoint.Heartbeat <= 0 {
		return time.Time{}
	}
	if s.heartbeating {
		return time.Time{} // its result wakes us
	}
	if now.Before(s.nextHeartbeat) {
		return s.nextHeartbeat
	}
	s.nextHeartbeat = now.Add(s.endpoint.Heartbeat)
	h := Heartbeat{IntervalSeconds: s.endpoint.Heartbeat.Seconds()}
	if c, err := s.cfg.Outbox.Count(s.endpoint.Name); err == nil {
		h.Pending, h.OldestPending = c.Pending, c.Oldest.UTC()
	}
	m := heartbeatMessage(s.cfg.Source, s.endpoint.Name, h, now)
	body, err := s.body(&m)
	if err != nil {
		s.fail("body: "+err.Error(), now, false)
		return s.nextHeartbeat
	}
	s.heartbeating = true
	s.start(ctx, under, result{entry: s.entry(&m, "", body, nil, now), heartbeat: true})
	return s.nextHeartbeat
}

func (s *sender) body(m *Message) ([]byte, error) {
	if s.template != nil {
		return render(s.template, s.endpoint.contentType(), m)
	}
	return encode(m)
}

// settle writes down what became of an attempt.
func (s *sender) settle(ctx context.Context, r result) {
	if r.heartbeat {
		s.heartbeating = false
	} else {
		delete(s.inFlight, r.entry.Alarm)
	}
	if r.verdict.outcome == failed && ctx.Err() != nil {
		return // broken off by us: no attempt of the receiver's
	}
	now := time.Now()
	if r.verdict.outcome == delivered {
		s.succeed(r, now)
		return
	}
	s.rest(r.verdict, now)
	s.fail(r.verdict.reason, now, false)
	if r.heartbeat {
		return // the next one comes anyway
	}
	e := r.entry
	if r.verdict.outcome == gone {
		e.Reason = r.verdict.reason
		s.update(e)
		return
	}
	e.Attempts++
	wait, again := RetryDelay(e.Attempts)
	if r.verdict.outcome == refused || !again {
		s.giveUp(e, r.verdict.reason, now)
		return
	}
	e.NextAttempt = now.Add(jittered(wait, rand.Float64()))
	if r.verdict.notBefore.After(e.NextAttempt) {
		e.NextAttempt = r.verdict.notBefore
	}
	e.Reason = r.verdict.reason
	s.update(e)
	s.cfg.Log.Warn("webhook failed", zap.String("endpoint", s.endpoint.Name), zap.String("alarm", e.Alarm),
		zap.String("reason", e.Reason), zap.Int("attempts", e.Attempts), zap.Time("next", e.NextAttempt))
}

func (s *sender) giveUp(e Entry, reason string, now time.Time) {
	e.State, e.Reason = Dead, reason
	s.update(e)
	s.mu.Lock()
	s.stats.GivenUp++
	s.mu.Unlock()
	s.cfg.Log.Error("webhook given up", zap.String("endpoint", s.endpoint.Name), zap.String("alarm", e.Alarm),
		zap.String("reason", reason), zap.Int("attempts", e.Attempts), zap.Duration("age", now.Sub(e.Created)))
}

func (s *sender) update(e Entry) {
	if err := s.cfg.Outbox.Update(e); err != nil {
		s.cfg.Log.Error("write webhook outbox", zap.String("endpoint", s.endpoint.Name), zap.Error(err))
	}
}

func (s *sender) succeed(r result, now time.Time) {
	if !r.heartbeat {
		r.entry.State = Delivered
		s.update(r.entry)
	}
	s.mu.Lock()
	wasDown := s.inARow >= downAfter
	s.inARow = 0
	s.stats.Attempts++
	s.stats.LastSuccess = now
	if s.stats.State == Failing {
		s.stats.State = Active
	}
	if !r.heartbeat {
		s.stats.Delivered++
	}
	s.mu.Unlock()
	if !wasDown {
		return
	}
	n, err := s.revive(func(e *Entry) bool { return e.State == Pending }, now, false)
	s.cfg.Log.Info("webhook endpoint is back", zap.String("endpoint", s.endpoint.Name), zap.Int("waiting", n), zap.Error(err))
}

// fail counts a failure; whole says that no request was made.
func (s *sender) fail(reason string, now time.Time, whole bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.stats.LastFailure, s.stats.LastError = now, reason
	if whole {
		s.stats.GivenUp++
		return
	}
	s.stats.Attempts++
	s.stats.Failures++
	s.inARow++
	if s.stats.State == Active {
		s.stats.State = Failing
	}
}

// rest keeps an endpoint alone for as long as it asked, or for good.
func (s *sender) rest(v verdict, now time.Time) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch {
	case v.outcome == gone:
		s.stats.State = Stopped
		s.cfg.Log.Error("webhook endpoint stopped: it answered 410", zap.String("endpoint", s.endpoint.Name))
	case v.throttle && v.notBefore.IsZero():
		s.pause(now.Add(throttlePause))
	case v.throttle:
		s.pause(v.notBefore)
	}
}

func (s *sender) pause(until time.Time) {
	if until.After(s.stats.PausedUntil) {
		s.stats.PausedUntil = until
	}
}

func (s *sender) resting(now time.Time) (until time.Time, stopped bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if !s.stats.PausedUntil.After(now) {
		s.stats.PausedUntil = time.Time{}
	}
	return s.stats.PausedUntil, s.stats.State == Stopped
}

func (s *sender) resume() {
	s.mu.Lock()
	s.stats.State, s.stats.PausedUntil, s.inARow = Active, time.Time{}, 0
	s.mu.Unlock()
	signal(s.wake)
}

// revive makes chosen messages due now; with afresh they get all attempts.
func (s *sender) revive(choose func(*Entry) bool, now time.Time, afresh bool) (int, error) {
	entries, err := s.cfg.Outbox.List(s.endpoint.Name)
	if err != nil {
		return 0, fmt.Errorf("list messages of endpoint %q: %w", s.endpoint.Name, err)
	}
	var chosen []Entry
	for _, e := range entries {
		if !choose(&e) {
			continue
		}
		e.State, e.NextAttempt = Pending, now
		if afresh {
			e.Attempts = 0
		}
		chosen = append(chosen, e)
	}
	return len(chosen), s.cfg.Outbox.Update(chosen...)
}

func (s *sender) figures() Stats {
	s.mu.Lock()
	out := s.stats
	s.mu.Unlock()
	if c, err := s.cfg.Outbox.Count(s.endpoint.Name); err == nil {
		out.Pending, out.Dead, out.Dropped, out.Oldest = c.Pending, c.Dead, c.Dropped, c.Oldest
	}
	return out
}

func earliest(a, b time.Time) time.Time {
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}
