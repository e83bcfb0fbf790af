// Package snmpdtest runs Debian's snmpd on a loopback port for tests that
// want an SNMP agent that we did not write. It guarantees that the agent
// answers when Start returns and is gone when the test ends; configuration and
// state lie in the test's own temporary folder. For tests only.
package snmpdtest

import (
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/need"
	"lightwell/collector/snmp/ber"
)

// Community is what the agent answers to in versions 1 and 2c.
const Community = "loopback-test"

// An Object is one value that the agent serves.
type Object struct {
	OID   string // numeric, without leading dot
	Type  string // as of snmpd's override directive: integer, uinteger, counter, octet_str, object_id, timeticks
	Value string
}

// A User is a user of version 3, in snmpd's words: SHA-256, AES.
type User struct {
	Name, Auth, AuthPassword, Privacy, PrivacyPassword string
}

// Options say what the agent serves and to whom.
type Options struct {
	Objects []Object
	Users   []User
}

// configFile must not be in the folder of snmpd's state: snmpd would write its
// state over it.
const configFile = "snmpd.conf"

// An Agent is a running snmpd.
type Agent struct {
	Addr    string // host:port on loopback, the same after a Restart
	t       testing.TB
	program string
	folder  string
	running *exec.Cmd
}

// Start starts an agent and waits until it answers. The test is skipped, or
// fails in CI, where snmpd is not installed.
func Start(t testing.TB, o Options) *Agent {
	t.Helper()
	a := &Agent{t: t, program: need.Program(t, "snmpd"), folder: t.TempDir()}
	a.Addr = freePort(t)
	require.NoError(t, os.WriteFile(filepath.Join(a.folder, configFile), []byte(o.config(a.Addr)), 0o600))
	t.Cleanup(a.Stop)
	a.Restart()
	return a
}

// Stop ends the agent in good order, so that it keeps its state. It does
// nothing when the agent does not run.
func (a *Agent) Stop() {
	a.t.Helper()
	if a.running == nil {
		return
	}
	cmd := a.running
	a.running = nil
	require.NoError(a.t, cmd.Process.Signal(syscall.SIGTERM))
	kill := time.AfterFunc(10*time.Second, func() { _ = cmd.Process.Kill() })
	defer kill.Stop()
	_ = cmd.Wait() // how it ended does not matter
}

// Restart stops the agent if it runs, starts it again with the state it had,
// and waits until it answers. Its boot count is one higher.
func (a *Agent) Restart() {
	a.t.Helper()
	a.Stop()
	logFile := filepath.Join(a.folder, "snmpd.log")
	cmd := exec.Command(a.program, "-f", "-r", "-C", "-c", filepath.Join(a.folder, configFile), "-Lf", logFile)
	cmd.Env = append(os.Environ(), "SNMP_PERSISTENT_DIR="+filepath.Join(a.folder, "state"), "MIBS=")
	require.NoError(a.t, cmd.Start())
	a.running = cmd
	if !answers(a.t, a.Addr, 10*time.Second) {
		text, _ := os.ReadFile(logFile)
		require.FailNow(a.t, "snmpd does not answer", "log:\n%s", text)
	}
}

func (o Options) config(addr string) string {
	var b strings.Builder
	fmt.Fprintf(&b, "agentaddress udp:%s\nrocommunity %s 127.0.0.1\n", addr, Community)
	for _, u := range o.Users {
		fmt.Fprintf(&b, "createUser %s %s\n", u.Name, strings.TrimSpace(strings.Join([]string{u.Auth, quoted(u.AuthPassword), u.Privacy, quoted(u.PrivacyPassword)}, " ")))
		fmt.Fprintf(&b, "rouser %s %s\n", u.Name, u.level())
	}
	for _, v := range o.Objects {
		value := v.Value
		if v.Type == "octet_str" {
			value = quoted(value)
		}
		fmt.Fprintf(&b, "override .%s %s %s\n", v.OID, v.Type, value)
	}
	return b.String()
}

func (u User) level() string {
	switch {
	case u.Privacy != "":
		return "priv"
	case u.Auth != "":
		return "auth"
	}
	return "noauth"
}

func quoted(s string) string {
	if s == "" {
		return ""
	}
	return `"` + s + `"`
}

func freePort(t testing.TB) string {
	t.Helper()
	c, err := net.ListenUDP("udp4", &net.UDPAddr{IP: net.IPv4(127, 0, 0, 1)})
	require.NoError(t, err)
	defer c.Close()
	return c.LocalAddr().String()
}

// answers asks for sysUpTime until something comes back.
func answers(t testing.TB, addr string, patience time.Duration) bool {
	t.Helper()
	c, err := net.Dial("udp4", addr)
	require.NoError(t, err)
	defer c.Close()
	object := ber.Append(nil, ber.ObjectID, []byte{0x2b, 6, 1, 2, 1, 1, 3, 0})
	list := ber.Append(nil, ber.Sequence, ber.Append(nil, ber.Sequence, object, []byte{5, 0}))
	pdu := ber.Append(nil, ber.GetRequest, []byte{2, 1, 1, 2, 1, 0, 2, 1, 0}, list)
	ask := ber.Append(nil, ber.Sequence, []byte{2, 1, 1}, ber.Append(nil, ber.OctetString, []byte(Community)), pdu)
	buf := make([]byte, 1500)
	for end := time.Now().Add(patience); time.Now().Before(end); {
		_ = c.SetReadDeadline(time.Now().Add(50 * time.Millisecond))
		_, _ = c.Write(ask)
		for { // an error may be the network's word that nobody listens yet: wait the rest
			_, err := c.Read(buf)
			if err == nil {
				return true
			}
			if ne, ok := err.(net.Error); ok && ne.Timeout() {
				break
			}
		}
	}
	return false
}
