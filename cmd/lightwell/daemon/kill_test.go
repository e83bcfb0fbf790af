package daemon_test

import (
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/alarms"
	"lightwell/alarms/baseline"
	"lightwell/collector"
	"lightwell/collector/state"
	"lightwell/collector/state/pgtest"
)

// killRounds is how often the daemon is killed. A long run:
//
//	go test ./cmd/lightwell/daemon -run TestKilled/sqlite -kill-rounds 200 -timeout 30m -v
var killRounds = flag.Int("kill-rounds", 12, "how often the daemon is killed")

func TestKilled(t *testing.T) {
	t.Parallel()
	t.Run("sqlite", func(t *testing.T) {
		t.Parallel()
		killed(t, *killRounds, collector.Secret{})
	})
	t.Run("postgres", func(t *testing.T) {
		t.Parallel()
		killed(t, (*killRounds+2)/3, pgtest.Start(t).Database())
	})
}

// arena is a folder with a daemon that dies again and again, and what its
// surroundings remember of it.
type arena struct {
	t       *testing.T
	folder  string
	dsn     collector.Secret
	ledger  *ledger
	hook    string
	round   int
	client  *http.Client
	said    []string       // comments that the daemon confirmed
	agreed  map[string]int // versions of baselines that it confirmed, by unit
	refused int            // requests without a confirmation
}

func killed(t *testing.T, rounds int, dsn collector.Secret) {
	l, err := newLedger()
	require.NoError(t, err)
	receiver := httptest.NewServer(l)
	defer receiver.Close()
	a := &arena{t: t, folder: t.TempDir(), dsn: dsn, ledger: l, hook: receiver.URL, agreed: map[string]int{}, client: &http.Client{Timeout: 5 * time.Second}}
	require.NoError(t, os.WriteFile(filepath.Join(a.folder, "fleet.yaml"), []byte(fleetOf(victimUnits, victimSites, "@every 1s")), 0o600))
	began := time.Now()
	for round := range rounds {
		a.round = round
		a.live(time.Time{}, func(p *os.Process) {
			<-time.After(time.Duration(300+rand.IntN(1700)) * time.Millisecond)
			require.NoError(t, p.Kill())
		})
	}
	still := time.Now()
	a.round = rounds
	a.live(still, func(p *os.Process) { a.settle(p, still) })
	out := a.judge()
	t.Logf("%d kills in %s: %d changes to tell, %d deliveries, %d of them again, %d refused by the receiver, %d comments and %d baselines confirmed, %d requests broken off, %d lost",
		rounds, time.Since(began).Round(time.Second), out.Changes, out.Deliveries, out.Repeats, out.Refused, len(a.said), len(a.agreed), a.refused, out.Lost)
	require.Empty(t, out.Faults)
	require.Greater(t, out.Changes, rounds, "there was something to lose")
}

// live starts a daemon, lets people work with it while the plant moves, and
// has it ended.
func (a *arena) live(still time.Time, end func(*os.Process)) {
	t := a.t
	require.NoError(t, os.RemoveAll(filepath.Join(a.folder, "url")))
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), victimFolder+"="+a.folder, victimDSN+"="+a.dsn.Reveal(), fmt.Sprintf("%s=%s/%d", victimReceiver, a.hook, a.round))
	if !still.IsZero() {
		cmd.Env = append(cmd.Env, victimStill+"="+still.Format(time.RFC3339Nano))
	}
	var out bytes.Buffer
	cmd.Stderr = &out
	require.NoError(t, cmd.Start())
	ended := make(chan struct{})
	working := make(chan struct{})
	go func() {
		defer close(working)
		if still.IsZero() {
			a.work(ended)
		}
	}()
	end(cmd.Process)
	err := cmd.Wait()
	close(ended)
	<-working
	a.client.CloseIdleConnections()
	status := cmd.ProcessState.Sys().(syscall.WaitStatus)
	require.True(t, status.Signaled() || err == nil, "the daemon ended by itself: %v\n%s", err, &out)
}

// work does what people do, and remembers what was confirmed, until ended.
func (a *arena) work(ended chan struct{}) {
	for n := 0; ; n++ {
		select {
		case <-ended:
			return
		case <-time.After(10 * time.Millisecond):
		}
		url, err := os.ReadFile(filepath.Join(a.folder, "url"))
		if err != nil {
			continue // not there yet
		}
		if n%5 == 0 {
			a.commission(string(url), unitName(rand.IntN(victimUnits)))
		} else {
			a.comment(string(url))
		}
	}
}

func (a *arena) comment(url string) {
	var list struct{ Items []struct{ ID string } }
	if !a.ask("GET", url+"/api/v1/alarms?state=all&limit=200", nil, &list) || len(list.Items) == 0 {
		return
	}
	text := fmt.Sprintf("note %d of round %d", rand.Uint64(), a.round)
	id := list.Items[rand.IntN(len(list.Items))].ID
	if a.ask("POST", url+"/api/v1/alarms/"+id+"/comment", map[string]string{"text": text}, nil) {
		a.said = append(a.said, text)
	} else {
		a.refused++
	}
}

func (a *arena) commission(url, unit string) {
	resource := []string{"unit/" + unit}
	if !a.ask("POST", url+"/api/v1/commissioning/begin", map[string]any{"resources": resource}, nil) {
		return
	}
	deadline := time.Now().Add(1500 * time.Millisecond)
	for time.Now().Before(deadline) {
		if a.ask("POST", url+"/api/v1/commissioning/accept", map[string]any{"resources": resource, "force": true, "reason": "test"}, nil) {
			a.agreed[unit]++
			return
		}
		<-time.After(50 * time.Millisecond)
	}
	a.refused++
}

// ask sends a request; false: it was not confirmed.
func (a *arena) ask(method, url string, body, into any) bool {
	data, err := json.Marshal(body)
	require.NoError(a.t, err)
	req, err := http.NewRequest(method, url, bytes.NewReader(data))
	require.NoError(a.t, err)
	req.Header.Set("Content-Type", "application/json")
	resp, err := a.client.Do(req)
	if err != nil {
		return false
	}
	defer resp.Body.Close()
	answer, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode >= 300 {
		return false
	}
	return into == nil || json.Unmarshal(answer, into) == nil
}

// settle waits until every fault has its alarm and nothing waits for
// the receiver, and stops the daemon as an operator would.
func (a *arena) settle(p *os.Process, still time.Time) {
	require.Eventually(a.t, func() bool {
		url, err := os.ReadFile(filepath.Join(a.folder, "url"))
		if err != nil {
			return false
		}
		var hooks struct{ Items []struct{ Pending int } }
		var list struct{ Items []struct{ Resource string } }
		if !a.ask("GET", string(url)+"/api/v1/alarms?limit=1000", nil, &list) {
			return false
		}
		active := map[string]bool{}
		for _, i := range list.Items {
			active[i.Resource] = true
		}
		if slices.ContainsFunc(faultsAt(still), func(resource string) bool { return !active[resource] }) {
			return false
		}
		return a.ask("GET", string(url)+"/api/v1/webhooks", nil, &hooks) && len(hooks.Items) == 1 && hooks.Items[0].Pending == 0
	}, 5*time.Minute, 200*time.Millisecond, "all alarms raised, all webhooks sent")
	require.NoError(a.t, p.Signal(syscall.SIGTERM))
}

// judge reads the state as it is after the last stop, and holds everything
// against it that the daemon has told or confirmed.
func (a *arena) judge() account {
	t := a.t
	ctx := context.Background()
	store, err := state.Open(ctx, state.Config{Folder: filepath.Join(a.folder, "data"), DSN: a.dsn}, zap.NewNop())
	require.NoError(t, err)
	defer func() { require.NoError(t, store.Close()) }()
	log, err := store.Changes(ctx, state.Filter{Limit: 1 << 20})
	require.NoError(t, err)
	slices.Reverse(log)
	out := a.ledger.check(log, func(r state.ChangeRow) bool {
		var b alarms.Brief
		require.NoError(t, json.Unmarshal(r.Body, &b))
		return b.Notify
	}, 4)
	fault := func(format string, args ...any) { out.Faults = append(out.Faults, fmt.Sprintf(format, args...)) }

	comments := map[string]int{}
	up := map[string]bool{}
	for _, r := range log {
		switch alarms.ChangeKind(r.Kind) {
		case alarms.Commented:
			comments[r.Text]++
			if r.Operator != "local" || r.From != "127.0.0.1" {
				fault("comment %q is by %q from %q", r.Text, r.Operator, r.From)
			}
		case alarms.Raised, alarms.ClearedChange:
			if raised := r.Kind == string(alarms.Raised); up[r.AlarmID] == raised {
				fault("alarm %s: %s twice in a row, at change %d", r.AlarmID, r.Kind, r.Seq)
			} else {
				up[r.AlarmID] = raised
			}
		}
	}
	for _, text := range a.said {
		if comments[text] != 1 {
			out.Lost++
			fault("comment %q was confirmed and is there %d times", text, comments[text])
		}
	}
	a.judgeState(ctx, store, up, fault)
	return out
}

// judgeState holds alarms and baselines as they are against the log and
// against what was confirmed.
func (a *arena) judgeState(ctx context.Context, store *state.Store, up map[string]bool, fault func(string, ...any)) {
	rows, err := store.Alarms(ctx)
	require.NoError(a.t, err)
	for _, r := range rows {
		var alarm alarms.Alarm
		require.NoError(a.t, json.Unmarshal(r.Body, &alarm))
		if alarm.Cleared == up[alarm.ID] {
			fault("alarm %s: cleared is %v, and the log says otherwise", alarm.ID, alarm.Cleared)
		}
		delete(up, alarm.ID)
	}
	for id := range up {
		fault("alarm %s is in the log and not in the list", id)
	}
	kept, err := store.Baselines(ctx)
	require.NoError(a.t, err)
	versions := map[string]int{}
	for _, r := range kept {
		var record baseline.Record
		require.NoError(a.t, json.Unmarshal(r.Body, &record))
		if versions[r.Unit]++; r.Version != versions[r.Unit] || record.Version != r.Version {
			fault("baseline %d of unit %s is at place %d", r.Version, r.Unit, versions[r.Unit])
		}
	}
	for unit, n := range a.agreed {
		if versions[unit] < n {
			fault("unit %s: %d baselines were confirmed, %d are there", unit, n, versions[unit])
		}
	}
}
