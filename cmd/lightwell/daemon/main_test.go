package daemon_test

import (
	"flag"
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
	besides("8")
	// What is ignored was left by a database that could not be closed: its disk had
	// turned read-only.
	goleak.VerifyTestMain(m, goleak.IgnoreTopFunction("github.com/prometheus/prometheus/tsdb/wlog.(*WL).run"))
}

// besides has more tests run at a time than there are processors: they wait
// for polls, grace and damping more than they compute. Who says -parallel
// knows better.
func besides(tests string) {
	const name = "test.parallel"
	flag.Parse()
	said := false
	flag.Visit(func(f *flag.Flag) { said = said || f.Name == name })
	if said {
		return
	}
	if err := flag.Set(name, tests); err != nil {
		panic(err)
	}
}
