package main

import (
	"bytes"
	"context"
	"errors"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lightwell/collector/need"
)

func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){"plantsim": main})
}

func TestScripts(t *testing.T) { scripts(t, "testdata/script") }

func TestScriptsWithTools(t *testing.T) {
	need.Program(t, "snmpget")
	scripts(t, "testdata/tools")
}

func scripts(t *testing.T, dir string) {
	fleet, err := os.ReadFile("testdata/fleet.yaml")
	require.NoError(t, err)
	testscript.Run(t, testscript.Params{
		Dir: dir,
		Setup: func(env *testscript.Env) error {
			taken, err := net.ListenPacket("udp", "127.0.0.1:0")
			if err != nil {
				return err
			}
			env.Defer(func() { _ = taken.Close() })
			free, err := net.ListenPacket("udp", "127.0.0.1:0")
			if err != nil {
				return err
			}
			env.Vars = append(env.Vars, "TAKEN="+taken.LocalAddr().String(), "FREE="+free.LocalAddr().String(), "SNMPCONFPATH=/nonexistent", "SNMP_PERSISTENT_DIR="+env.WorkDir)
			return errors.Join(free.Close(), os.WriteFile(filepath.Join(env.WorkDir, "fleet.yaml"), fleet, 0o600))
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"fails": fails},
	})
}

// fails CODE ARG... runs plantsim and wants that exit code.
func fails(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) == 0 {
		ts.Fatalf("usage: fails CODE [ARG...]")
	}
	var exit *exec.ExitError
	if err := ts.Exec("plantsim", args[1:]...); !errors.As(err, &exit) || strconv.Itoa(exit.ExitCode()) != args[0] {
		ts.Fatalf("exit code: want %s, got %v", args[0], err)
	}
}

func TestRunStops(t *testing.T) {
	defer goleak.VerifyNone(t)
	ctx, stop := context.WithCancel(t.Context())
	time.AfterFunc(50*time.Millisecond, stop)
	var out bytes.Buffer
	require.NoError(t, run(ctx, []string{"--fleet", "testdata/fleet.yaml", "--listen", "[::1]:0"}, &out, &out))
	require.Contains(t, out.String(), "rack-dual-supply       [::1]:")
	require.Contains(t, out.String(), "stopped after")
}

func TestReaddress(t *testing.T) {
	to := func(unit string) string { return map[string]string{"a": "127.0.0.1:1", "b": "[::1]:2"}[unit] }
	for _, c := range []struct{ name, in, want string }{
		{"flow", "units: [{id: a, address: 192.0.2.1}, {id: b, address: 192.0.2.2, poll: x}]\n", "units: [{id: a, address: \"127.0.0.1:1\"}, {id: b, address: \"[::1]:2\", poll: x}]\n"},
		{"block", "units:\n- id: a\n  address: 192.0.2.1\n- address:   192.0.2.2:161\n  id: b", "units:\n- id: a\n  address: \"127.0.0.1:1\"\n- address:   \"[::1]:2\"\n  id: b"},
		{"comment", "units:\n- id: a\n  address: 192.0.2.1  # at, the {rack}\n", "units:\n- id: a\n  address: \"127.0.0.1:1\"  # at, the {rack}\n"},
		{"quotes", "units:\n- {address: '[2001:db8::1]:161', id: a}\n- {address: \"192.0.2.2\", id: b}\n", "units:\n- {address: \"127.0.0.1:1\", id: a}\n- {address: \"[::1]:2\", id: b}\n"},
		{"characters of several octets", "units:\n- {id: a, name: Höhe – 3, address: 192.0.2.1, poll: x}\n", "units:\n- {id: a, name: Höhe – 3, address: \"127.0.0.1:1\", poll: x}\n"},
		{"line ends of two octets", "units:\r\n- id: a\r\n  address: 192.0.2.1\r\n", "units:\r\n- id: a\r\n  address: \"127.0.0.1:1\"\r\n"},
		{"unknown unit, unit without address", "units: [{id: c, address: 192.0.2.1}, {id: a, via: c}]", "units: [{id: c, address: 192.0.2.1}, {id: a, via: c}]"},
		{"address of a site", "sites: [{id: a, address: 192.0.2.1}]\n", "sites: [{id: a, address: 192.0.2.1}]\n"},
	} {
		t.Run(c.name, func(t *testing.T) {
			require.Equal(t, c.want, string(readdress("fleet.yaml", []byte(c.in), to)))
		})
	}
}
