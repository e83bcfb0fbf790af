package daemon_test

import (
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"lightwell/alarms/notify"
	"lightwell/collector"
	"lightwell/collector/state"
)

// delivery is one request that the receiver has answered.
type delivery struct {
	id, alarm, kind string
	seq             uint64
	body            string
	round           int // of the daemon that sent it, which the path of the request names
	accepted        bool
}

// ledger is a receiver of webhooks that writes everything down. It is slow
// now and then, and sometimes refuses, as receivers do.
type ledger struct {
	verifier *notify.Verifier
	mu       sync.Mutex
	faults   []string
	all      []delivery
}

func newLedger() (*ledger, error) {
	v, err := notify.NewVerifier([]collector.Secret{victimKey})
	return &ledger{verifier: v}, err
}

// ServeHTTP writes a request down when it answers it.
func (l *ledger) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	body, err := io.ReadAll(r.Body)
	if err != nil {
		return // the daemon was killed while it sent
	}
	var event struct {
		ID, Type, Sequence string
		Data               struct{ ID string }
	}
	if err := json.Unmarshal(body, &event); err != nil {
		l.fault("body is not an event: %v", err)
	}
	if err := l.verifier.Verify(body, r.Header, time.Now()); err != nil {
		l.fault("%s: %v", event.ID, err)
	}
	seq, err := strconv.ParseUint(event.Sequence, 10, 64)
	if err != nil {
		l.fault("%s: sequence: %v", event.ID, err)
	}
	select { // a receiver takes its time
	case <-time.After(time.Duration(rand.IntN(15)) * time.Millisecond):
	case <-r.Context().Done():
	}
	round, err := strconv.Atoi(strings.TrimPrefix(r.URL.Path, "/"))
	if err != nil {
		l.fault("%s: round: %v", event.ID, err)
	}
	d := delivery{event.ID, event.Data.ID, event.Type, seq, string(body), round, rand.IntN(200) > 0}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.all = append(l.all, d)
	if !d.accepted {
		w.WriteHeader(http.StatusInternalServerError)
	}
}

func (l *ledger) fault(format string, args ...any) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.faults = append(l.faults, fmt.Sprintf(format, args...))
}

// account is what the receiver saw, held against the log of changes.
type account struct {
	Changes    int // of which receivers must hear
	Deliveries int // answered
	Repeats    int // of what was accepted before
	Refused    int // by the receiver, on purpose
	Lost       int
	Faults     []string
}

// check compares deliveries with the log, oldest first: nothing missing,
// nothing that never happened, the order per alarm kept, and repeats only
// where the daemon was killed before it could write the answer down.
func (l *ledger) check(log []state.ChangeRow, mustHear func(state.ChangeRow) bool, inFlight int) account {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := account{Deliveries: len(l.all), Faults: slices.Clone(l.faults)}
	fault := func(format string, args ...any) { out.Faults = append(out.Faults, fmt.Sprintf(format, args...)) }
	first := map[uint64]delivery{}       // accepted, by number of the change
	newest := map[string]uint64{}        // per alarm
	repeats := map[int]map[string]bool{} // per round of the first acceptance
	for _, d := range l.all {
		was, again := first[d.seq]
		switch {
		case !d.accepted:
			out.Refused++
		case !again:
			if newest[d.alarm] >= d.seq {
				fault("alarm %s: change %d was told after change %d", d.alarm, d.seq, newest[d.alarm])
			}
			first[d.seq], newest[d.alarm] = d, d.seq
		default:
			out.Repeats++
			if was.id != d.id || was.body != d.body {
				fault("change %d was told again with another id or body: %s, %s", d.seq, was.id, d.id)
			}
			if was.round == d.round {
				fault("change %d was told twice by the same daemon, in round %d", d.seq, d.round)
			}
			if newest[d.alarm] != d.seq {
				fault("alarm %s: change %d was told again after change %d", d.alarm, d.seq, newest[d.alarm])
			}
			if repeats[was.round] == nil {
				repeats[was.round] = map[string]bool{}
			}
			repeats[was.round][d.id] = true
		}
	}
	for round, ids := range repeats {
		if len(ids) > inFlight {
			fault("round %d: %d messages were told again, %d can have been in flight", round, len(ids), inFlight)
		}
	}
	for _, r := range log {
		if r.Seq == 0 || !mustHear(r) {
			continue
		}
		out.Changes++
		if d, ok := first[r.Seq]; !ok {
			out.Lost++
			fault("change %d (%s of alarm %s) was never told", r.Seq, r.Kind, r.AlarmID)
		} else if d.alarm != r.AlarmID {
			fault("change %d: alarm %s was told, %s is in the log", r.Seq, d.alarm, r.AlarmID)
		}
		delete(first, r.Seq)
	}
	for seq, d := range first {
		fault("change %d (%s of alarm %s) was told and is not in the log", seq, d.kind, d.alarm)
	}
	return out
}
