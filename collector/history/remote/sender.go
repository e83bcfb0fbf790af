package remote

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"path/filepath"
	"slices"
	"sync"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/exp/api/remote"
	"go.uber.org/zap"

	"lightwell/collector"
)

// Config configures a Sender.
type Config struct {
	Endpoint Endpoint
	Folder   string        // of the queues of all senders
	Queue    int           // polls that may wait to be put on disk; what comes on top is shed
	Sync     time.Duration // readings of this long can be lost by a power cut
	Linger   time.Duration // how long a small request waits for more readings
	Backoff  time.Duration // first pause after a failure; it doubles each time
	Slowest  time.Duration // longest pause
}

// Default returns the configuration for an endpoint.
func Default(e Endpoint, folder string) Config {
	return Config{
		Endpoint: e, Folder: folder, Queue: 16384, Sync: 5 * time.Second, Linger: time.Second,
		Backoff: time.Second, Slowest: 5 * time.Minute,
	}
}

// request is how many readings go into one; its size is then some 100 KB
// before compression.
const request = 2000

// A Sender sends readings to one endpoint. Safe for concurrent use.
type Sender struct {
	cfg       Config
	log       *zap.Logger
	spool     *spool
	api       *remote.API
	transport *transport
	polls     chan collector.Poll
	filled    chan struct{} // holds one signal: the spool has something

	sent, refused, shed, lost, failures atomic.Uint64
	told                                atomic.Int64 // Unix s of the last line in the log
	last                                atomic.Value // string: the last failure; "" after a success
}

// New opens the queue of an endpoint. Close the Sender when Run has returned
// or is not called.
func New(cfg Config, log *zap.Logger) (*Sender, error) {
	if err := cfg.Endpoint.Validate(); err != nil {
		return nil, fmt.Errorf("remote write %q: %w", cfg.Endpoint.Name, err)
	}
	client, transport := newClient(cfg.Endpoint, maxAnswer)
	api, err := remote.NewAPI(cfg.Endpoint.URL.Reveal(), remote.WithAPIPath(""), remote.WithAPIHTTPClient(client),
		remote.WithAPIBackoff(remote.BackoffConfig{Min: cfg.Backoff, Max: cfg.Slowest}))
	if err != nil {
		return nil, fmt.Errorf("remote write %q: %w", cfg.Endpoint.Name, err)
	}
	queue, err := openSpool(filepath.Join(cfg.Folder, cfg.Endpoint.Name), cfg.Endpoint.MaxBytes, sealSize)
	if err != nil {
		return nil, fmt.Errorf("remote write %q: %w", cfg.Endpoint.Name, err)
	}
	return &Sender{
		cfg: cfg, log: log.With(zap.String("endpoint", cfg.Endpoint.Name)), spool: queue, api: api, transport: transport,
		polls: make(chan collector.Poll, cfg.Queue), filled: make(chan struct{}, 1),
	}, nil
}

// Append takes the good readings of a poll. It never waits: when too many
// polls are waiting for the disk, this one is shed and counted.
func (s *Sender) Append(p collector.Poll) {
	if len(p.Readings) == 0 {
		return
	}
	select {
	case s.polls <- p:
	default:
		s.shed.Add(uint64(len(p.Readings)))
	}
}

// Run queues and sends until ctx ends. What is queued then goes out after the
// next start.
func (s *Sender) Run(ctx context.Context) error {
	var work sync.WaitGroup
	defer work.Wait()
	defer s.transport.base.CloseIdleConnections()
	work.Go(func() { s.enqueue(ctx) })
	s.deliver(ctx)
	return nil
}

// Close queues what still waits, and closes the queue.
func (s *Sender) Close() error {
	s.enqueueRest()
	return errors.Join(s.spool.sync(), s.spool.close())
}

// enqueue puts polls on disk.
func (s *Sender) enqueue(ctx context.Context) {
	sync := time.NewTicker(s.cfg.Sync)
	defer sync.Stop()
	for {
		select {
		case p := <-s.polls:
			s.put(p)
		case <-sync.C:
			s.failed("the queue cannot be synced", s.spool.sync())
		case <-ctx.Done():
			s.enqueueRest()
			return
		}
	}
}

// enqueueRest puts on disk what waits now.
func (s *Sender) enqueueRest() {
	for {
		select {
		case p := <-s.polls:
			s.put(p)
		default:
			return
		}
	}
}

// put writes a poll, and those that wait behind it, as one record.
func (s *Sender) put(p collector.Poll) {
	body, n := appendPoll(nil, p)
	for n < request {
		select {
		case p := <-s.polls:
			more := 0
			body, more = appendPoll(body, p)
			n += more
			continue
		default:
		}
		break
	}
	if n == 0 {
		return
	}
	if err := s.spool.append(body, n); err != nil {
		s.lost.Add(uint64(n))
		s.failed("readings are not queued", err)
		return
	}
	select {
	case s.filled <- struct{}{}:
	default:
	}
}

// deliver sends what the queue holds, oldest first.
func (s *Sender) deliver(ctx context.Context) {
	for ctx.Err() == nil {
		records, readings, behind, err := s.spool.next(request)
		if err != nil {
			s.failed("the queue cannot be read", err)
			s.pause(ctx, s.cfg.Slowest)
			continue
		}
		if len(records) == 0 {
			select {
			case <-ctx.Done():
			case <-s.filled:
				s.pause(ctx, s.cfg.Linger)
			}
			continue
		}
		if s.send(ctx, records) {
			s.failed("the queue cannot be cut", s.spool.done(behind, readings))
		}
	}
}

// send sends records until the receiver has them or has refused them. It
// returns false when ctx ended before.
func (s *Sender) send(ctx context.Context, records [][]byte) bool {
	var points []point
	for _, r := range records {
		var err error
		if points, err = decode(r, points); err != nil {
			s.failed("a queued record cannot be read", err)
		}
	}
	if len(points) == 0 {
		return true
	}
	kind, msg := message(s.cfg.Endpoint.Protocol, points)
	for {
		_, err := s.api.Write(ctx, kind, msg, remote.WithWriteRetryCallback(func(err error) { s.tried(err) }))
		switch {
		case err == nil:
			s.sent.Add(uint64(len(points)))
			s.last.Store("")
			return true
		case ctx.Err() != nil:
			return false
		case slices.Contains(finalStatus, s.transport.status.Load()):
			s.refused.Add(uint64(len(points)))
			s.failed("readings are refused and dropped", err)
			s.last.Store(err.Error())
			return true
		}
		s.tried(err) // wrong credentials, address or protocol: a person will put it right
		s.pause(ctx, s.cfg.Slowest)
	}
}

// finalStatus are answers about the readings themselves, which would be the
// same next time.
var finalStatus = []int64{http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity}

// tried notes an attempt that will be repeated.
func (s *Sender) tried(err error) {
	s.failures.Add(1)
	s.last.Store(err.Error())
	s.failed("readings wait to be sent", err)
}

// failed logs a failure, if it is one, once a minute.
func (s *Sender) failed(what string, err error) {
	now := time.Now().Unix()
	if told := s.told.Load(); err != nil && now-told >= 60 && s.told.CompareAndSwap(told, now) {
		s.log.Error(what, zap.Error(err))
	}
}

func (s *Sender) pause(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
	case <-t.C:
	}
}

// Stats are counts of readings since the start, but Waiting and Bytes, which
// are what the queue on disk holds now.
type Stats struct {
	Endpoint string
	Sent     uint64
	Refused  uint64 // dropped: the receiver does not want them
	Dropped  uint64 // dropped: the queue was larger than its bound
	Damaged  uint64 // places of the queue that could not be read
	Shed     uint64 // lost: too many polls were waiting for the disk
	Lost     uint64 // lost: the disk did not take them
	Failures uint64 // attempts that are repeated
	Waiting  uint64
	Bytes    int64
	Error    string // why the last attempt failed; "" when it did not
}

// Stats returns how the sender fares.
func (s *Sender) Stats() Stats {
	c, bytes := s.spool.stats()
	last, _ := s.last.Load().(string)
	return Stats{
		Endpoint: s.cfg.Endpoint.Name, Sent: s.sent.Load(), Refused: s.refused.Load(), Dropped: c.Dropped, Damaged: c.Damaged,
		Shed: s.shed.Load(), Lost: s.lost.Load(), Failures: s.failures.Load(), Waiting: c.Waiting, Bytes: bytes, Error: last,
	}
}
