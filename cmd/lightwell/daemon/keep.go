package daemon

import (
	"context"
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"sync"
	"time"

	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/notify"
	"lightwell/collector/state"
)

const (
	// writeTimeout bounds one write of the state. While it lasts no site is
	// evaluated.
	writeTimeout = 5 * time.Second
	// proofInterval is how often the daemon proves that the state can be
	// written when there is nothing else to write.
	proofInterval = 10 * time.Second
	// readTimeout bounds the reading of the whole state at the start.
	readTimeout = 5 * time.Minute
)

// Names of documents in the state.
const (
	identityDocument = "identity" // the name under which this daemon publishes
	aliveDocument    = "alive"    // when the daemon wrote last
	shelvesDocument  = "shelves"  // those with criteria
)

// everything passes all alarms, shelved ones too.
var everything = alarms.Filter{Shelving: alarms.ShelvingAny}

// keeper brings what the engine and people do into the state, and knows
// whether that works.
type keeper struct {
	store      *state.Store
	dispatcher *notify.Dispatcher
	log        *zap.Logger

	life context.Context // of writes: ended when a stop takes too long
	end  context.CancelFunc

	closing  sync.Once
	flushing sync.Mutex // held by who writes the journal

	mu      sync.Mutex
	fault   error     // of the last write; nil: it worked
	since   time.Time // first of the faults in a row
	proven  time.Time // last write that worked
	journal []state.AuditRow
}

func newKeeper(store *state.Store, log *zap.Logger) *keeper {
	k := &keeper{store: store, log: log, proven: time.Now()}
	k.life, k.end = context.WithCancel(context.Background())
	return k
}

// close ends the use of the state; it may be called twice.
func (k *keeper) close() {
	k.closing.Do(func() {
		k.end()
		if err := k.store.Close(); err != nil {
			k.log.Error("close state", zap.Error(err))
		}
	})
}

func (k *keeper) saw(err error, now time.Time) {
	k.mu.Lock()
	defer k.mu.Unlock()
	switch {
	case err == nil:
		k.fault, k.proven = nil, now
		return
	case k.fault == nil:
		k.since = now
	}
	k.fault = err
}

// problem returns why the state is not written, or nil when it is.
func (k *keeper) problem(now time.Time) error {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.fault != nil {
		return fmt.Errorf("the state is not written since %s: %w", k.since.UTC().Format(time.RFC3339), k.fault)
	}
	if quiet := now.Sub(k.proven); quiet > 3*proofInterval {
		return fmt.Errorf("the state was not written for %s", quiet.Round(time.Second))
	}
	return nil
}

// lastWrite returns when a write worked last.
func (k *keeper) lastWrite() time.Time {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.proven
}

// write runs one write within its time and remembers how it went.
func (k *keeper) write(fn func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(k.life, writeTimeout)
	defer cancel()
	err := fn(ctx)
	k.saw(err, time.Now())
	return err
}

// commit stores a round with the messages that it causes, in one transaction.
func (k *keeper) commit(r alarms.Round) error {
	batch, err := batchOf(r)
	if err != nil {
		return err
	}
	messages := k.dispatcher.Messages(r.Changes, time.Now())
	batch.Outbox = notify.Stored(messages)
	if err := k.write(func(ctx context.Context) error { return k.store.Commit(ctx, batch) }); err != nil {
		return err
	}
	k.dispatcher.Published(r.Changes, messages)
	return nil
}

// storedEvidence is a row of the evaluator's memory.
type storedEvidence struct {
	Key      alarms.Key      `json:"key"`
	Evidence alarms.Evidence `json:"evidence"`
}

func batchOf(r alarms.Round) (state.Batch, error) {
	b := state.Batch{Site: r.Site, Purged: r.Purged}
	var errs []error
	body := func(v any) []byte {
		data, err := json.Marshal(v)
		errs = append(errs, err)
		return data
	}
	for i := range r.Alarms {
		a := &r.Alarms[i]
		b.Alarms = append(b.Alarms, state.AlarmRow{ID: a.ID, Site: a.Site, Version: a.Version, Body: body(a)})
	}
	for i := range r.Changes {
		c := &r.Changes[i]
		b.Changes = append(b.Changes, state.ChangeRow{
			Seq: c.Seq, AlarmID: c.Alarm.ID, Site: c.Alarm.Site, Kind: string(c.Kind), Operator: c.Operator, From: c.From, Text: c.Text,
			Time: c.Time, Body: body(c.Brief()),
		})
	}
	for key, ev := range r.Evidence {
		b.Evidence = append(b.Evidence, state.EvidenceRow{Key: alarms.NewID(key), Body: body(storedEvidence{key, ev})})
	}
	for _, key := range r.EvidenceGone {
		b.EvidenceGone = append(b.EvidenceGone, alarms.NewID(key))
	}
	if r.Shelves != nil {
		b.Documents = []state.Document{{Name: shelvesDocument, Body: body(*r.Shelves)}}
	}
	if err := errors.Join(errs...); err != nil {
		return b, fmt.Errorf("encode round of site %q: %w", r.Site, err)
	}
	return b, nil
}

// identify reads the daemon's name, or makes one at the first start, so that
// receivers know over restarts who speaks.
func identify(ctx context.Context, store *state.Store) (identity string, err error) {
	found, err := store.Load(ctx, identityDocument, &identity)
	if err != nil || found {
		return identity, err
	}
	identity = strings.ToLower(rand.Text()[:12])
	return identity, store.Save(ctx, identityDocument, identity)
}

// memory is what the daemon knows at its start from the time before.
type memory struct {
	alarms   []alarms.Alarm
	evidence map[alarms.Key]alarms.Evidence
	next     uint64 // number of the next change
	shelves  []alarms.Shelf
	alive    time.Time // last write
}

func recall(ctx context.Context, store *state.Store) (m memory, err error) {
	rows, err := store.Alarms(ctx)
	if err != nil {
		return m, err
	}
	m.alarms = make([]alarms.Alarm, len(rows))
	for i, r := range rows {
		if err := json.Unmarshal(r.Body, &m.alarms[i]); err != nil {
			return m, fmt.Errorf("read alarm %s: %w", r.ID, err)
		}
	}
	kept, err := store.Evidence(ctx)
	if err != nil {
		return m, err
	}
	m.evidence = make(map[alarms.Key]alarms.Evidence, len(kept))
	for _, r := range kept {
		var e storedEvidence
		if err := json.Unmarshal(r.Body, &e); err != nil {
			return m, fmt.Errorf("read evidence %s: %w", r.Key, err)
		}
		m.evidence[e.Key] = e.Evidence
	}
	if m.next, err = store.NextSeq(ctx); err != nil {
		return m, err
	}
	if _, err = store.Load(ctx, shelvesDocument, &m.shelves); err != nil {
		return m, err
	}
	_, err = store.Load(ctx, aliveDocument, &m.alive)
	return m, err
}
