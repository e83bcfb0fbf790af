// Package need finds the programs of other people that some tests run
// against: snmpd, promtool, a database, a browser. It is for tests only. On a user's
// machine a test without its program is skipped with a clear word; where the
// environment says CI, it fails.
package need

import (
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"testing"
)

// Program returns the path of the first of the named programs that is
// installed. Folders of system programs, and those in which PostgreSQL keeps its own, are
// searched beside PATH.
func Program(t testing.TB, names ...string) string {
	t.Helper()
	for _, name := range names {
		tries := []string{name, "/usr/sbin/" + name, "/usr/local/sbin/" + name}
		inVersions, _ := filepath.Glob("/usr/lib/postgresql/*/bin/" + name) // newest last
		slices.Reverse(inVersions)
		for _, try := range append(tries, inVersions...) {
			if path, err := exec.LookPath(try); err == nil {
				return path
			}
		}
	}
	missing(t, names[0])
	return ""
}

func missing(t testing.TB, name string) {
	t.Helper()
	if os.Getenv("CI") != "" {
		t.Fatalf("%s is not installed, and in CI this test must run", name)
	}
	t.Skipf("%s is not installed: this test is skipped", name)
}

// File returns the path in an environment variable, of a file that is not
// installed with a program. what says which file that is.
func File(t testing.TB, variable, what string) string {
	t.Helper()
	path := os.Getenv(variable)
	if path == "" {
		missing(t, what+" ("+variable+")")
	}
	return path
}
