package daemon_test

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	cloudevents "github.com/cloudevents/sdk-go/v2/event"
	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zapcore"

	"lightwell/alarms/baseline"
	"lightwell/alarms/notify"
	"lightwell/cmd/lightwell/config"
	"lightwell/cmd/lightwell/daemon"
	"lightwell/collector"
)

// soon bounds every wait for something that the daemon must do.
const soon = 60 * time.Second

// A bench is a daemon under test with a webhook receiver beside it.
type bench struct {
	t      testing.TB
	cfg    config.Config
	daemon *daemon.Daemon
	prober collector.Prober // nil: over SNMP
	log    *lockedBuffer
	stop   func()
	onPoll func(collector.Poll)

	mu     sync.Mutex
	events []string // type, severity, alarm type and resource of each webhook
	last   time.Time
}

// lockedBuffer is a log that a test can read while it is written.
type lockedBuffer struct {
	mu   sync.Mutex
	text strings.Builder
}

func (b *lockedBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.Write(p)
}

func (b *lockedBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.text.String()
}

// newBench prepares a daemon for a fleet; set may change its configuration.
func newBench(t testing.TB, fleet string, set func(*config.Config)) *bench {
	t.Helper()
	b := &bench{t: t, log: &lockedBuffer{}}
	folder := t.TempDir()
	file := filepath.Join(folder, "fleet.yaml")
	require.NoError(t, os.WriteFile(file, []byte(fleet), 0o600))

	key := notify.GenerateSecret()
	handler, err := notify.NewReceiver([]collector.Secret{key}, b.received)
	require.NoError(t, err)
	receiver := httptest.NewServer(handler)
	t.Cleanup(receiver.Close)

	b.cfg = config.Default()
	b.cfg.Listen = "127.0.0.1:0"
	b.cfg.Data = filepath.Join(folder, "data")
	b.cfg.Fleet = []string{file}
	b.cfg.MinPoll = 10 * time.Millisecond
	b.cfg.SNMP.Timeout, b.cfg.SNMP.Retries = 300*time.Millisecond, 1
	b.cfg.Commissioning = config.Commissioning{Polls: 3}
	b.cfg.Webhooks = []notify.Endpoint{{Name: "test", URL: collector.NewSecret(receiver.URL), Secrets: []collector.Secret{key}, OperatorActions: true}}
	if set != nil {
		set(&b.cfg)
	}
	return b
}

func (b *bench) received(e cloudevents.Event) {
	var a notify.Alarm
	if e.DataAs(&a) != nil || a.Type == "" {
		return
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.last = time.Now()
	b.events = append(b.events, fmt.Sprintf("%s %s %s %s", strings.TrimPrefix(e.Type(), "lightwell.alarm."), a.Severity, a.Type, a.Resource))
}

func (b *bench) files() daemon.Files {
	b.t.Helper()
	files, err := daemon.LoadFiles(b.cfg)
	require.NoError(b.t, err)
	return files
}

// start runs the daemon until the test ends or stop is called.
func (b *bench) start() {
	b.t.Helper()
	files := b.files()
	var err error
	encoder := zapcore.NewJSONEncoder(zap.NewProductionEncoderConfig())
	log := zap.New(zapcore.NewCore(encoder, zapcore.AddSync(b.log), zapcore.DebugLevel))
	b.daemon, err = daemon.New(daemon.Options{Config: b.cfg, Files: files, Version: "test", Log: log, Prober: b.prober, OnPoll: b.onPoll})
	require.NoError(b.t, err)
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- b.daemon.Run(ctx) }()
	b.stop = sync.OnceFunc(func() {
		cancel()
		select {
		case err := <-ended:
			require.NoError(b.t, err)
		case <-time.After(soon):
			b.t.Fatal("the daemon does not stop")
		}
	})
	b.t.Cleanup(b.stop)
}

// eventually waits until condition holds.
func (b *bench) eventually(what string, condition func() bool) {
	b.t.Helper()
	require.Eventually(b.t, condition, soon, 20*time.Millisecond, what)
}

// saw waits for a webhook.
func (b *bench) saw(event string) {
	b.t.Helper()
	b.eventually("webhook "+event, func() bool { return slices.Contains(b.webhooks(), event) })
}

func (b *bench) webhooks() []string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.events)
}

// commission captures and accepts baselines of units.
func (b *bench) commission(units ...string) {
	b.t.Helper()
	book := b.daemon.Book()
	require.NoError(b.t, book.Begin(units, "test", time.Now()))
	b.eventually("captures are ready", func() bool {
		return !slices.ContainsFunc(units, func(u string) bool { return !book.Show(u, time.Now()).Ready })
	})
	require.NoError(b.t, book.Accept(units, "test", "", false, time.Now()))
	for _, u := range units {
		require.Equal(b.t, baseline.Accepted, book.State(u))
	}
}

// get reads a path of the daemon into v, or into text when v is nil.
func (b *bench) get(path string, v any) string {
	b.t.Helper()
	resp, err := http.Get(b.daemon.URL() + path)
	require.NoError(b.t, err)
	defer resp.Body.Close()
	body, err := io.ReadAll(resp.Body)
	require.NoError(b.t, err)
	require.Equal(b.t, http.StatusOK, resp.StatusCode, "%s: %s", path, body)
	if v != nil {
		require.NoError(b.t, json.Unmarshal(body, v))
	}
	http.DefaultClient.CloseIdleConnections()
	return string(body)
}
