package daemon_test

import (
	"os"
	"testing"

	"go.uber.org/goleak"
)

// TestMain runs the tests, or in a process that a test has started, the
// daemon that is to be killed.
func TestMain(m *testing.M) {
	if folder := os.Getenv(victimFolder); folder != "" {
		beVictim(folder)
		return
	}
	// What is ignored was left by a database that could not be closed: its disk had
	// turned read-only.
	goleak.VerifyTestMain(m, goleak.IgnoreTopFunction("github.com/prometheus/prometheus/tsdb/wlog.(*WL).run"))
}
