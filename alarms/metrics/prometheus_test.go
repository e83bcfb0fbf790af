package metrics_test

import (
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/alarms"
	"lightwell/alarms/metrics"
	"lightwell/collector"
	"lightwell/collector/need"
)

// lockedPlant is a plant that changes while it is scraped.
type lockedPlant struct {
	*plant
	mu sync.Mutex
}

func (p *lockedPlant) EachSite(fn func([]*alarms.UnitView) bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.plant.EachSite(fn)
}

func (p *lockedPlant) silence(unit int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.units[unit].Err = collector.ErrNoAnswer
}

// A real Prometheus server scrapes the page and answers questions about it.
func TestScrapedByPrometheus(t *testing.T) {
	program := need.Program(t, "prometheus")
	p := &lockedPlant{plant: story()}
	page := httptest.NewServer(metrics.New(metrics.Config{Engine: p, List: p, Webhooks: p, Baselines: p}).Handler())
	t.Cleanup(page.Close)
	api := startPrometheus(t, program, strings.TrimPrefix(page.URL, "http://"))
	client := &http.Client{Timeout: 5 * time.Second}
	t.Cleanup(client.CloseIdleConnections)

	wait := func(query, want string) {
		t.Helper()
		last := ""
		require.Eventually(t, func() bool {
			last = ask(client, api, query)
			return last == want
		}, 45*time.Second, 100*time.Millisecond, "%s: want %s", query, want)
	}
	const up, power = `lightwell_unit_up{unit="nq-room"}`, `lightwell_optical_receive_power_dbm`
	wait(`up{job="lightwell"}`, "1")
	wait(up, "1")
	wait(`lightwell_unit_up{unit="nq-roof"}`, "0")
	wait(power, "3.5")
	wait(`lightwell_supply_state{port="b",supply_state="failed"}`, "1")
	wait(`sum(lightwell_alarms)`, "2")
	p.silence(0)
	wait(up, "0")
	wait(power, "") // stale at once, not after five minutes
	wait(`lightwell_optical_receive_power_baseline_dbm{unit="nq-room"}`, "2")
}

// startPrometheus runs a server that scrapes target, and returns the address
// of its API. It ends with the test.
func startPrometheus(t *testing.T, program, target string) string {
	t.Helper()
	dir := t.TempDir()
	config := filepath.Join(dir, "prometheus.yml")
	text := fmt.Sprintf("global: {scrape_interval: 500ms, scrape_timeout: 500ms}\nscrape_configs: [{job_name: lightwell, static_configs: [{targets: [%q]}]}]\n", target)
	require.NoError(t, os.WriteFile(config, []byte(text), 0o600))
	free, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := free.Addr().String()
	require.NoError(t, free.Close())
	log, err := os.Create(filepath.Join(dir, "log"))
	require.NoError(t, err)
	cmd := exec.Command(program, "--config.file="+config, "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+address)
	cmd.Stdout, cmd.Stderr = log, log
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		_ = cmd.Wait()
		_ = log.Close()
		if t.Failed() {
			said, _ := os.ReadFile(log.Name())
			t.Logf("prometheus said:\n%s", said)
		}
	})
	return "http://" + address
}

// ask returns the value of the only sample that a query brings, "" for none,
// and what went wrong otherwise.
func ask(client *http.Client, api, query string) string {
	resp, err := client.Get(api + "/api/v1/query?query=" + url.QueryEscape(query))
	if err != nil {
		return err.Error()
	}
	defer resp.Body.Close()
	var answer struct {
		Data struct {
			Result []struct{ Value [2]any }
		}
	}
	if err := json.NewDecoder(resp.Body).Decode(&answer); err != nil {
		return err.Error()
	}
	switch r := answer.Data.Result; len(r) {
	case 0:
		return ""
	case 1:
		return fmt.Sprint(r[0].Value[1])
	default:
		return fmt.Sprintf("%d samples", len(r))
	}
}
