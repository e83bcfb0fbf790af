package history_test

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/zap"
	"go.uber.org/zap/zaptest/observer"

	"lightwell/collector/history"
)

// A damaged segment keeps the log from being made into blocks: it grows
// silently but for this.
func TestLogThatReachesBackTooFar(t *testing.T) {
	core, logs := observer.New(zap.ErrorLevel)
	folder := t.TempDir()
	s, err := history.Open(history.Default(folder), zap.New(core))
	require.NoError(t, err)
	defer func() { require.NoError(t, s.Close()) }()
	now := time.Now()
	write(t, s, light, lastHour(), time.Second, 1)
	s.WatchLog(now)
	require.Less(t, s.Stats().LogSpan, time.Minute)

	old := filepath.Join(folder, "raw", "wal", "00000000")
	require.NoError(t, os.WriteFile(filepath.Join(folder, "raw", "wal", "00000001"), nil, 0o600))
	require.NoError(t, os.Chtimes(old, now, now.Add(-30*time.Hour)))
	s.WatchLog(now)
	require.InDelta(t, 30, s.Stats().LogSpan.Hours(), 0.1)
	require.Empty(t, logs.All(), "a daemon that stood still for a day looks like that after its start")
	s.Begin(now.Add(-25 * time.Hour))
	s.WatchLog(now)
	s.WatchLog(now.Add(time.Hour))
	require.Equal(t, 1, logs.Len(), "once a day")
	require.Contains(t, logs.All()[0].Message, "is not made into blocks")
}
