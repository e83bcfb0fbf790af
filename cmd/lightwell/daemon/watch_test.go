package daemon_test

import (
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"

	"lightwell/alarms/brief"
	"lightwell/collector"
	"lightwell/collector/state"
)

// TestStartTellsHowLongNobodyWatched: without it, the time between a kill and
// the next start would count as watched.
func TestStartTellsHowLongNobodyWatched(t *testing.T) {
	t.Parallel()
	b, _ := newSwitched(t, collector.Secret{})
	begun := time.Now()
	b.start()
	b.eventually("ready", func() bool { return b.daemon.Ready() == nil })
	b.stop()
	stopped := time.Now()
	b.start()
	b.stop()

	store, err := state.Open(t.Context(), state.Config{Folder: b.cfg.Data}, zap.NewNop())
	require.NoError(t, err)
	defer store.Close()
	lines, err := store.Changes(t.Context(), state.Filter{NoSite: true})
	require.NoError(t, err)
	var starts []brief.Started
	for _, l := range lines {
		if l.Kind == brief.LineStarted {
			var s brief.Started
			require.NoError(t, json.Unmarshal(l.Body, &s))
			starts = append(starts, s)
		}
	}
	require.Len(t, starts, 2, "newest first")
	require.True(t, starts[1].LastAlive.IsZero(), "nothing ran before the first start")
	require.WithinRange(t, starts[0].LastAlive, begun, stopped)
}
