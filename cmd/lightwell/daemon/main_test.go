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
	goleak.VerifyTestMain(m)
}
