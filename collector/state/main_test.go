package state_test

import (
	"bufio"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"lightwell/collector"
	"lightwell/collector/state"
)

// Variables that make the test binary the process that is killed.
const (
	childFolder = "STATE_TEST_FOLDER"
	childDSN    = "STATE_TEST_DSN"
)

// kills is how many times TestSQLite/killed and TestPostgres/killed kill.
var kills = flag.Int("kills", 8, "times that a writing process is killed")

func TestMain(m *testing.M) {
	if folder := os.Getenv(childFolder); folder != "" {
		commitForEver(place{folder: folder, dsn: collector.NewSecret(os.Getenv(childDSN))})
	}
	goleak.VerifyTestMain(m)
}

// commitForEver commits rounds of three changes and prints the number of each
// round once it is stored.
func commitForEver(p place) {
	s, err := state.Open(ctx, p.config(), nil)
	for err == nil {
		var seq uint64
		if seq, err = s.NextSeq(ctx); err == nil {
			err = s.Commit(ctx, round(seq, 3))
			fmt.Println(seq + 2)
		}
	}
	fmt.Println(err)
	os.Exit(1)
}

func child(t *testing.T, p place) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(os.Args[0])
	cmd.Env = append(os.Environ(), childFolder+"="+p.folder, childDSN+"="+p.dsn.Reveal())
	return cmd
}

// A process is killed at random; what it said is stored is there, and what is
// there is whole.
func testKilled(t *testing.T, p place) {
	for range *kills {
		said := runAndKill(t, p)
		s := p.open(t)
		next, err := s.NextSeq(ctx)
		require.NoError(t, err)
		require.GreaterOrEqual(t, next, said+1, "a round that was stored is lost")
		require.LessOrEqual(t, next, said+4, "one round may have been in flight")
		requireWhole(t, s, next)
		require.NoError(t, s.Close())
	}
}

// runAndKill returns the last number that the process said is stored.
func runAndKill(t *testing.T, p place) (said uint64) {
	t.Helper()
	cmd := child(t, p)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	lines := bufio.NewScanner(out)
	for left := rand.IntN(60) + 1; lines.Scan(); left-- {
		n, err := strconv.ParseUint(strings.TrimSpace(lines.Text()), 10, 64)
		require.NoError(t, err, "child: %s", lines.Text())
		said = n
		if left == 0 {
			time.AfterFunc(time.Duration(rand.IntN(3000))*time.Microsecond, func() { cmd.Process.Kill() })
		}
	}
	_ = cmd.Wait() // killed
	return said
}

// requireWhole checks that all tables hold the same rounds of three changes.
func requireWhole(t *testing.T, s *state.Store, next uint64) {
	t.Helper()
	require.Zero(t, (next-1)%3, "part of a round is stored")
	log, err := s.Changes(ctx, state.Filter{Limit: int(next)})
	require.NoError(t, err)
	require.Len(t, log, int(next-1))
	for i, c := range log {
		require.Equal(t, next-1-uint64(i), c.Seq)
	}
	list, err := s.ListOutbox(ctx, "", "", int(next))
	require.NoError(t, err)
	require.Len(t, list, int(next-1))
	for i, m := range list {
		require.EqualValues(t, i+1, m.Seq)
	}
	alarms, err := s.Alarms(ctx)
	require.NoError(t, err)
	evidence, err := s.Evidence(ctx)
	require.NoError(t, err)
	require.Len(t, alarms, min(int(next-1), 5000))
	require.Len(t, evidence, len(alarms))
}
