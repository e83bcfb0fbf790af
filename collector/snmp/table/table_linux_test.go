package table_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

var (
	full = flag.Bool("table", false, "measure and print the table; takes some minutes")
	reps = flag.Int("reps", 3, "runs of which the median counts")
)

// TestMain runs the parts of the measurement that are processes of their own.
func TestMain(m *testing.M) {
	switch os.Getenv("LIGHTWELL_TABLE") {
	case "agent":
		agentMain(os.Args[1:])
	case "client":
		clientMain(os.Args[1:])
	default:
		os.Exit(m.Run())
	}
}

// pinned starts a command on one core, so that the agent does not take the
// client's.
func pinned(core int, name string, args ...string) *exec.Cmd {
	if set, err := exec.LookPath("taskset"); err == nil {
		return exec.Command(set, append([]string{"-c", strconv.Itoa(core), name}, args...)...)
	}
	return exec.Command(name, args...)
}

// startCrowd starts the load agent and returns its port.
func startCrowd(t *testing.T, args ...string) string {
	t.Helper()
	c := pinned(1, os.Args[0], args...)
	c.Env = append(os.Environ(), "LIGHTWELL_TABLE=agent")
	c.Stderr = os.Stderr
	out, err := c.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, c.Start())
	t.Cleanup(func() { _ = c.Process.Kill(); _ = c.Wait() })
	line, err := bufio.NewReader(out).ReadString('\n')
	require.NoError(t, err)
	return strings.TrimSpace(line)
}

func run(t *testing.T, c *exec.Cmd) measure {
	t.Helper()
	c.Stderr = os.Stderr
	out, err := c.Output()
	require.NoError(t, err, "%s", c)
	var m measure
	require.NoError(t, json.NewDecoder(bytes.NewReader(out)).Decode(&m), "%s", out)
	return m
}

func client(t *testing.T, port, version string, n, window, warm, cycles int) measure {
	c := pinned(0, os.Args[0], "-port", port, "-version", version, "-n", strconv.Itoa(n), "-window", strconv.Itoa(window), "-warm", strconv.Itoa(warm), "-cycles", strconv.Itoa(cycles))
	c.Env = append(os.Environ(), "LIGHTWELL_TABLE=client")
	return run(t, c)
}

// median runs f some times and returns the run of the median processor time.
func median(f func() measure) measure {
	all := make([]measure, *reps)
	for i := range all {
		all[i] = f()
	}
	slices.SortFunc(all, func(a, b measure) int { return int(1e6 * (a.CPU - b.CPU)) })
	return all[len(all)/2]
}

// reference builds the C program; nil where it cannot be.
func reference(t *testing.T, port string) func(mode string, n, window, cycles int) measure {
	t.Helper()
	path := filepath.Join(t.TempDir(), "reference")
	if out, err := exec.Command("cc", "-O2", "-o", path, "testdata/reference.c", "-lnetsnmp").CombinedOutput(); err != nil {
		t.Logf("the references are left out: a C compiler and libsnmp-dev are needed: %v %.200s", err, out)
		return nil
	}
	return func(mode string, n, window, cycles int) measure {
		return median(func() measure {
			return run(t, pinned(0, path, mode, strconv.Itoa(n), strconv.Itoa(window), strconv.Itoa(cycles), port))
		})
	}
}

func row(name, format string, args ...any) {
	fmt.Printf("| %s | %s |\n", name, fmt.Sprintf(format, args...))
}

// TestTable prints the rows. Not part of an ordinary run: what it measures
// depends on what else the machine does.
func TestTable(t *testing.T) {
	if !*full {
		t.Skip("go test ./collector/snmp/table -run TestTable -table -v -timeout 30m measures")
	}
	load, _ := os.ReadFile("/proc/loadavg")
	row("load when it began", "%s", bytes.TrimSpace(load))
	t.Run("rate", func(t *testing.T) { rates(t, startCrowd(t)) })
	t.Run("delay and dead units", func(t *testing.T) { delays(t, startCrowd(t, "-delay", "200ms", "-dead", "10")) })
	healthy := map[string]float64{}
	for _, dead := range []string{"0", "30"} {
		t.Run(dead+" % dead", func(t *testing.T) {
			port := startCrowd(t, "-delay", "200ms", "-dead", dead)
			healthy[dead] = client(t, port, "2c", 20_000, 4096, 4, 3).HealthyIn
		})
	}
	if healthy["0"] > 0 && healthy["30"] > 0 {
		row("healthy units' cycle with 30 % dead, against the cycle with none; for as many healthy units", "%.2f; %.2f (%.2f s, %.2f s)",
			healthy["30"]/healthy["0"], healthy["30"]/(0.7*healthy["0"]), healthy["30"], healthy["0"])
	}
}

func rates(t *testing.T, port string) {
	v2 := median(func() measure { return client(t, port, "2c", 10_000, 256, 1, 10) })
	v3 := median(func() measure { return client(t, port, "3", 1000, 256, 1, 50) })
	many := median(func() measure { return client(t, port, "3", 50_000, 256, 1, 3) })
	first := median(func() measure { return client(t, port, "3", 10_000, 256, 1, 1) })
	values := median(func() measure { return client(t, port, "values", 10_000, 256, 1, 10) })
	row("v2c, values only: CPU a poll; rate a core", "%.2f µs; %.0f a second", values.CPU, 1e6/values.CPU)
	row("v2c, 10,000 units: CPU a poll; rate a core", "%.2f µs; %.0f a second", v2.CPU, 1e6/v2.CPU)
	row("v3, 1,000 units: CPU a poll; rate a core", "%.2f µs; %.0f a second", v3.CPU, 1e6/v3.CPU)
	if of := reference(t, port); of != nil {
		c2, raw, c3 := of("2c", 10_000, 256, 10), of("raw", 10_000, 256, 20), of("3", 1000, 256, 20)
		row("v2c rate against Net-SNMP's C interface", "%.2f with readings, %.2f values only (%.2f µs)", c2.CPU/v2.CPU, c2.CPU/values.CPU, c2.CPU)
		row("v2c rate against bare datagrams", "%.2f with readings, %.2f values only (%.2f µs)", raw.CPU/v2.CPU, raw.CPU/values.CPU, raw.CPU)
		row("v3 rate against Net-SNMP's C interface, 1,000 units", "%.2f (%.2f µs)", c3.CPU/v3.CPU, c3.CPU)
	}
	row("v3 CPU a poll, 50,000 against 1,000 units", "%.2f (%.2f µs)", many.CPU/v3.CPU, many.CPU)
	row("v3 first contact and poll of 10,000 units", "%.2f s of CPU", first.FirstCPU)
	row("allocations a poll, values only, v2c, v3", "%.1f, %.1f, %.1f", values.Allocations, v2.Allocations, v3.Allocations)
}

func delays(t *testing.T, port string) {
	m := client(t, port, "2c", 100_000, 4096, 1, 1)
	floor := max(4, 100_000*0.58/4096)
	row("cycle of 100,000 units, 4,096 at once, 200 ms, 10 % dead", "%.1f s: %.2f of the floor of %.1f s", m.Cycle, m.Cycle/floor, floor)
	row("client, 100,000 units of version 2c: heap that came with polling; whole process, fleet included; sockets", "%.0f MB; %.0f MB; %d", m.LiveMB, m.PeakMB, m.Sockets)
	m = client(t, port, "values", 100_000, 4096, 1, 1)
	row("engine with values only, the same: cycle, whole process, sockets", "%.1f s: %.2f of the floor; %.0f MB; %d", m.Cycle, m.Cycle/floor, m.PeakMB, m.Sockets)
}

func TestAgentAnswers(t *testing.T) {
	port := startCrowd(t)
	for _, version := range []string{"values", "2c", "3"} {
		m := client(t, port, version, 50, 16, 1, 2)
		require.Equal(t, 100, m.Polls, version)
		require.Positive(t, m.CPU)
	}
}
