package agent_test

import (
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
// and nothing read from the user's own configuration.
func tool(t *testing.T, program string, options []string, addr string, args ...string) (string, error) {
	t.Helper()
	line := append([]string{"-On", "-m", "", "-t", "2", "-r", "0"}, options...)
	cmd := exec.CommandContext(t.Context(), need.Program(t, program), append(append(line, addr), args...)...)
	cmd.Env = append(cmd.Environ(), "SNMPCONFPATH=/nonexistent", "MIBS=", "SNMP_PERSISTENT_DIR="+t.TempDir())
	out, err := cmd.CombinedOutput()
	return string(out), err
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
			require.Equal(t, want, strings.Split(strings.TrimSpace(out), "\n"))
		})
	}
}
