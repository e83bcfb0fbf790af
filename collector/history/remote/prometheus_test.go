package remote_test

import (
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/history"
	"lightwell/collector/history/remote"
	"lightwell/collector/need"
)

// startPrometheus runs a server that takes remote write, and returns its
// address. It ends with the test.
func startPrometheus(t *testing.T) string {
	t.Helper()
	program := need.Program(t, "prometheus")
	dir := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "prometheus.yml"), []byte("global: {scrape_interval: 1m}\n"), 0o600))
	free, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	address := free.Addr().String()
	require.NoError(t, free.Close())
	cmd := exec.Command(program, "--config.file="+filepath.Join(dir, "prometheus.yml"), "--storage.tsdb.path="+filepath.Join(dir, "data"),
		"--web.listen-address="+address, "--web.enable-remote-write-receiver", "--log.level=error")
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		_ = cmd.Process.Signal(syscall.SIGTERM)
		_ = cmd.Wait()
	})
	client := &http.Client{Timeout: time.Second}
	t.Cleanup(client.CloseIdleConnections)
	require.Eventually(t, func() bool {
		resp, err := client.Get("http://" + address + "/-/ready")
		if err != nil {
			return false
		}
		resp.Body.Close()
		return resp.StatusCode == http.StatusOK
	}, 45*time.Second, 50*time.Millisecond, "prometheus is ready")
	return "http://" + address
}

// Readings written to a real server, 1.0 as its version knows, are read back
// as the local history has them: single ones and sums.
func TestPrometheusHoldsTheSame(t *testing.T) {
	base := startPrometheus(t)
	s, _ := start(t, config(t, base+"/api/v1/write", remote.Protocol1))
	local, err := history.Open(history.Default(t.TempDir()), zap.NewNop())
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, local.Close()) })

	begin := time.Now().UTC().Truncate(time.Hour).Add(-3 * time.Hour)
	const polls = 180
	for i := range polls {
		at := begin.Add(time.Duration(i)*time.Minute + 7*time.Millisecond)
		for _, unit := range []string{"u1", `u"2\`} {
			p := collector.Poll{Unit: unit}
			for j, q := range collector.Quantities() {
				if i%10 == 3 && j%2 == 0 {
					continue // gaps
				}
				p.Readings = append(p.Readings, collector.Reading{
					Unit: unit, Point: collector.Point{Quantity: q.Quantity, Port: []string{"", "b"}[j%2]},
					Value: float64(i*(j+1)%37) / 100, Taken: at,
				})
			}
			require.NoError(t, local.Write(p))
			s.Append(p)
		}
	}
	eventually(t, func() bool { st := s.Stats(); return st.Sent > 0 && st.Waiting == 0 }, "sent")
	require.Zero(t, s.Stats().Refused)

	reader, err := remote.NewReader(remote.Endpoint{URL: collector.NewSecret(base)})
	require.NoError(t, err)
	t.Cleanup(reader.Close)
	end := begin.Add(3 * time.Hour)
	port := collector.Point{Quantity: collector.LaserBias, Port: "b"}
	for name, q := range map[string]history.Query{
		"every reading": {Unit: "u1", From: begin, To: end},
		"a part":        {Unit: "u1", From: begin.Add(time.Hour + 7*time.Millisecond), To: begin.Add(2*time.Hour + 7*time.Millisecond)},
		"quoted unit":   {Unit: `u"2\`, From: begin, To: end},
		"one point":     {Unit: "u1", From: begin, To: end, Points: []collector.Point{port}},
		"other port":    {Unit: "u1", From: begin, To: end, Points: []collector.Point{{Quantity: collector.LaserBias}}},
		"ten minutes":   {Unit: "u1", From: begin, To: end, Step: 10 * time.Minute},
		"hours":         {Unit: "u1", From: begin, To: end, Step: time.Hour},
		"nobody":        {Unit: "u3", From: begin, To: end, Step: time.Hour},
	} {
		t.Run(name, func(t *testing.T) {
			want, err := local.Query(t.Context(), q)
			require.NoError(t, err)
			got, err := reader.Query(t.Context(), q)
			require.NoError(t, err)
			require.Equal(t, len(want), len(got), "%v", got)
			for i := range want {
				require.Equal(t, want[i].Point, got[i].Point)
				require.Equal(t, len(want[i].Samples), len(got[i].Samples), want[i].Point.String())
				for j, w := range want[i].Samples {
					g := got[i].Samples[j]
					at := fmt.Sprintf("%s %s", want[i].Point, w.Time)
					require.Equal(t, w.Time, g.Time, at)
					require.InDelta(t, w.Value, g.Value, 1e-9, at)
					require.InDelta(t, w.Min, g.Min, 1e-9, at)
					require.InDelta(t, w.Max, g.Max, 1e-9, at)
					require.Equal(t, w.Count, g.Count, at)
				}
			}
		})
	}
	_, err = reader.Query(t.Context(), history.Query{})
	require.ErrorContains(t, err, "names no unit")
}

func TestReaderFaults(t *testing.T) {
	_, err := remote.NewReader(remote.Endpoint{URL: collector.NewSecret("http://m.example.net")})
	require.ErrorContains(t, err, "use https")
	reader, err := remote.NewReader(remote.Endpoint{URL: collector.NewSecret("http://127.0.0.1:1")})
	require.NoError(t, err)
	_, err = reader.Query(t.Context(), history.Query{Unit: "u1", From: time.Unix(0, 0), To: time.Unix(10, 0)})
	require.ErrorContains(t, err, "read history back")
}
