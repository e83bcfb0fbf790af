package agent_test

import (
	"errors"
	"net/netip"
	"os/exec"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"lightwell/collector/need"
)

var (
	v1     = []string{"-v1", "-c", community}
	v2c    = []string{"-v2c", "-c", community}
	sealed = []string{"-v3", "-l", "authPriv", "-u", "sealed", "-a", "SHA-256", "-A", password, "-x", "AES", "-X", secret}
)

// tool runs one of Net-SNMP's programs against addr, names shown as numbers
// and nothing read from the user's own configuration. It returns what the
// program printed, and its complaint when it failed.
func tool(t *testing.T, program string, options []string, addr string, args ...string) (string, error) {
	t.Helper()
	line := append([]string{"-On", "-m", "", "-t", "2", "-r", "0"}, options...)
	cmd := exec.CommandContext(t.Context(), need.Program(t, program), append(append(line, addr), args...)...)
	cmd.Env = append(cmd.Environ(), "SNMPCONFPATH=/nonexistent", "MIBS=", "SNMP_PERSISTENT_DIR="+t.TempDir())
	out, err := cmd.Output()
	var failed *exec.ExitError
	if errors.As(err, &failed) {
		out = append(out, failed.Stderr...)
	}
	return strings.TrimSpace(string(out)), err
}

func TestToolsRead(t *testing.T) {
	a := start(t, config(rackUnit(), "nq-room"))
	get := []string{"1.3.6.1.2.1.1.1.0", "1.3.6.1.2.1.1.2.0", "1.3.6.1.2.1.1.3.0", enterprise + ".1.1.0", enterprise + ".1.2.0"}
	values := []string{
		`.1.3.6.1.2.1.1.1.0 = STRING: "simulated rack unit"`,
		`.1.3.6.1.2.1.1.2.0 = OID: .1.3.6.1.4.1.32473.7.1`,
		`.1.3.6.1.2.1.1.3.0 = Timeticks: (12345) 0:02:03.45`,
		`.1.3.6.1.4.1.32473.7.1.1.1.0 = INTEGER: -325`,
		`.1.3.6.1.4.1.32473.7.1.1.2.0 = Gauge32: 4294967295`,
	}
	newer := []string{
		`.1.3.6.1.4.1.32473.7.1.1.3.0 = Opaque: Float: -3.250000`,
		`.1.3.6.1.4.1.32473.7.1.1.4.0 = Counter64: 1099511627776`,
		`.1.3.6.1.4.1.32473.7.1.1.5.0 = No Such Instance currently exists at this OID`,
		`.1.3.6.1.4.1.32473.7.1.1.6.0 = NULL`,
		`.1.3.6.1.4.1.32473.9.9.0 = No Such Object available on this agent at this OID`,
	}
	for _, c := range []struct {
		name    string
		options []string
		full    bool
	}{{"v1", v1, false}, {"v2c", v2c, true}, {"v3", sealed, true},
		{"v3 auth", []string{"-v3", "-l", "authNoPriv", "-u", "signed", "-a", "SHA-256", "-A", password}, true},
		{"v3 open", []string{"-v3", "-l", "noAuthNoPriv", "-u", "open"}, true},
		{"v3 md5", []string{"-v3", "-l", "authPriv", "-u", "old", "-a", "MD5", "-A", password, "-x", "AES", "-X", secret}, true}} {
		t.Run(c.name, func(t *testing.T) {
			ask, want := get, values
			if c.full {
				ask = append(ask[:len(ask):len(ask)], enterprise+".1.3.0", enterprise+".1.4.0", enterprise+".1.5.0", enterprise+".1.6.0", "1.3.6.1.4.1.32473.9.9.0")
				want = append(want[:len(want):len(want)], newer...)
			}
			out, err := tool(t, "snmpget", c.options, a.Addr("nq-room"), ask...)
			require.NoError(t, err, out)
			require.Equal(t, want, strings.Split(out, "\n"))
		})
	}
}

func TestToolsWalk(t *testing.T) {
	source := rackUnit()
	c := config(source, "nq-room")
	c.Listen = netip.MustParseAddrPort("[::1]:0")
	addr := "udp6:" + start(t, c).Addr("nq-room")
	for _, c := range []struct {
		name, program string
		options       []string
		lines         int
	}{
		{"v1 has no Counter64", "snmpwalk", v1, 32},
		{"v2c", "snmpwalk", v2c, 33},
		{"v2c bulk", "snmpbulkwalk", v2c, 33},
		{"v2c bulk by one", "snmpbulkwalk", append([]string{"-Cr1"}, v2c...), 33},
		{"v3", "snmpwalk", sealed, 33},
		{"v3 bulk", "snmpbulkwalk", append([]string{"-Cr100"}, sealed...), 33},
	} {
		t.Run(c.name, func(t *testing.T) {
			out, err := tool(t, c.program, c.options, addr, "1.3.6.1")
			require.NoError(t, err, out)
			lines := strings.Split(out, "\n")
			if lines[len(lines)-1] == "End of MIB" {
				lines = lines[:len(lines)-1]
			} else if end, _, over := strings.Cut(lines[len(lines)-1], " = No more variables"); over {
				require.Equal(t, ".1.3.6.1.4.1.32473.7.1.2.1.143", end)
				lines = lines[:len(lines)-1]
			}
			require.Len(t, lines, c.lines, out)
			require.Equal(t, ".1.3.6.1.4.1.32473.7.1.2.1.143 = INTEGER: 11", lines[len(lines)-1])
		})
	}
}

func TestToolsAreRefused(t *testing.T) {
	addr := start(t, config(rackUnit(), "nq-room")).Addr("nq-room")
	v3 := func(user, lvl, auth, pass, priv string) []string {
		return []string{"-v3", "-l", lvl, "-u", user, "-a", auth, "-A", pass, "-x", "AES", "-X", priv}
	}
	const name = "1.3.6.1.2.1.1.5.0"
	get, set := []string{name}, []string{name, "s", "renamed"}
	for _, c := range []struct {
		name, program string
		options       []string
		args          []string
		want          string
	}{
		{"wrong community", "snmpget", []string{"-v2c", "-c", "other", "-t", "0.2"}, get, "Timeout: No Response"},
		{"wrong password", "snmpget", v3("sealed", "authPriv", "SHA-256", "another-password", secret), get, "Authentication failure"},
		{"wrong digest", "snmpget", v3("sealed", "authPriv", "SHA-512", password, secret), get, "Authentication failure"},
		{"wrong user", "snmpget", v3("nobody", "authPriv", "SHA-256", password, secret), get, "Unknown user name"},
		{"wrong privacy password", "snmpget", v3("sealed", "authPriv", "SHA-256", password, "another-password"), get, "Decryption error"},
		{"more than the user has", "snmpget", v3("open", "authPriv", "SHA-256", password, secret), get, "Unsupported security level"},
		{"less than the user has", "snmpget", v3("sealed", "noAuthNoPriv", "SHA-256", password, secret), get, "authorizationError"},
		{"less privacy than the user has", "snmpget", v3("sealed", "authNoPriv", "SHA-256", password, secret), get, "authorizationError"},
		{"another context", "snmpget", append(v3("sealed", "authPriv", "SHA-256", password, secret), "-n", "elsewhere"), get, "Bad context specified"},
		{"v1 missing object", "snmpget", v1, []string{"1.3.6.1.2.1.1.9.0"}, "(noSuchName) There is no such variable name in this MIB."},
		{"v1 end", "snmpgetnext", v1, []string{"1.3.6.1.6"}, "noSuchName"},
		{"v1 set", "snmpset", v1, set, "noSuchName"},
		{"v2c set", "snmpset", v2c, set, "notWritable"},
		{"v3 set", "snmpset", sealed, set, "notWritable"},
	} {
		t.Run(c.name, func(t *testing.T) {
			out, err := tool(t, c.program, c.options, addr, c.args...)
			require.Error(t, err, out)
			require.Contains(t, out, c.want)
		})
	}
	out, err := tool(t, "snmpget", v2c, addr, name)
	require.NoError(t, err)
	require.Equal(t, `.1.3.6.1.2.1.1.5.0 = STRING: "nq-room"`, out, "nothing was written")
}
