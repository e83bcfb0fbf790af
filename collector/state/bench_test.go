package state_test

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"lightwell/collector/state"
	"lightwell/collector/state/pgtest"
)

func benchBoth(b *testing.B, bench func(b *testing.B, p place)) {
	b.Run("sqlite", func(b *testing.B) { bench(b, place{folder: b.TempDir()}) })
	b.Run("postgres", func(b *testing.B) { bench(b, place{folder: b.TempDir(), dsn: pgtest.Start(b).Database()}) })
}

// body has the size of an alarm with a short history.
var body = []byte(fmt.Sprintf(`{"text":%q}`, strings.Repeat("x", 600)))

func round(seq uint64, size int) state.Batch {
	b := state.Batch{Site: "ridge"}
	for i := range uint64(size) {
		n := seq + i
		id := fmt.Sprint("alarm-", n%5000)
		c := change(n, id)
		c.Body = body
		m := message("noc", id, int(n))
		m.Seq, m.Body = n, body
		b.Alarms = append(b.Alarms, state.AlarmRow{ID: id, Site: "ridge", Version: n, Body: body})
		b.Changes = append(b.Changes, c)
		b.Evidence = append(b.Evidence, state.EvidenceRow{Key: id, Body: body[:100]})
		b.Outbox = append(b.Outbox, m)
	}
	return b
}

func quantiles(b *testing.B, took []time.Duration) {
	slices.Sort(took)
	b.ReportMetric(took[len(took)/2].Seconds()*1000, "p50-ms")
	b.ReportMetric(took[len(took)*99/100].Seconds()*1000, "p99-ms")
}

// One alarm with its change, evidence and message, and the message delivered.
func BenchmarkCommit(b *testing.B) {
	benchBoth(b, func(b *testing.B, p place) {
		s := opened(b, p)
		var took []time.Duration
		seq := uint64(1)
		b.ReportAllocs()
		for b.Loop() {
			r := round(seq, 1)
			begun := time.Now()
			if err := s.Commit(ctx, r); err != nil {
				b.Fatal(err)
			}
			took = append(took, time.Since(begun))
			r.Outbox[0].State = state.Delivered
			if err := s.UpdateOutbox(ctx, r.Outbox[0]); err != nil {
				b.Fatal(err)
			}
			seq++
		}
		quantiles(b, took)
	})
}

// Of 50,000 messages about 5000 alarms that wait for a receiver that is down:
// what the sender asks, and what page and metrics ask.
func BenchmarkDeadReceiver(b *testing.B) {
	benchBoth(b, func(b *testing.B, p place) {
		s := opened(b, p)
		for seq := uint64(1); seq < 50_000; seq += 1000 {
			r := round(seq, 1000)
			for i := range r.Outbox {
				r.Outbox[i].Next = noon.Add(time.Hour)
			}
			require.NoError(b, s.Commit(ctx, r))
		}
		b.Run("due", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				due, next, err := s.DueOutbox(ctx, "noc", noon, 8)
				require.NoError(b, err)
				require.Empty(b, due)
				require.Equal(b, noon.Add(time.Hour), next)
			}
		})
		b.Run("count", func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				c, err := s.CountOutbox(ctx, "noc")
				require.NoError(b, err)
				require.Equal(b, state.OutboxCount{Pending: 50_000, Oldest: noon.Add(time.Second)}, c)
			}
		})
	})
}

// Full size: a million changes, 5000 alarms, 100,000 baselines of 3 kB. It
// prints the time to write them, the time of a start after Close and after a
// kill, and of the questions an operator asks.
func BenchmarkFullSize(b *testing.B) {
	benchBoth(b, func(b *testing.B, p place) {
		const changes, size = 1_000_000, 1000
		for b.Loop() {
			s := p.open(b)
			begun := time.Now()
			for seq := uint64(1); seq < changes; seq += size {
				r := round(seq, size)
				r.Outbox = nil
				require.NoError(b, s.Commit(ctx, r))
			}
			b.ReportMetric(time.Since(begun).Seconds(), "s/write")
			baselines := make([]state.BaselineRow, 100_000)
			for i := range baselines {
				baselines[i] = state.BaselineRow{Unit: fmt.Sprint("unit-", i), Version: 1, Accepted: noon, By: "kim", Body: slices.Repeat(body, 3000/len(body)+1)}
			}
			begun = time.Now()
			require.NoError(b, s.AppendBaselines(ctx, baselines))
			b.ReportMetric(time.Since(begun).Seconds(), "s/baselines")
			begun = time.Now()
			log, err := s.Changes(ctx, state.Filter{Alarm: "alarm-17", Limit: 100})
			b.ReportMetric(time.Since(begun).Seconds()*1000, "ms/alarm-log")
			require.NoError(b, err)
			require.Len(b, log, 100)
			begun = time.Now()
			log, err = s.Changes(ctx, state.Filter{Since: noon.Add((changes - 50) * time.Second)})
			b.ReportMetric(time.Since(begun).Seconds()*1000, "ms/log-since")
			require.NoError(b, err)
			require.Len(b, log, 51)
			require.NoError(b, s.Close())
			begun = time.Now()
			s = start(b, p)
			b.ReportMetric(time.Since(begun).Seconds(), "s/start")
			require.NoError(b, s.Close())
			require.NoError(b, os.WriteFile(filepath.Join(p.folder, "lock"), []byte("in use\n"), 0o600))
			begun = time.Now()
			s = start(b, p)
			b.ReportMetric(time.Since(begun).Seconds(), "s/start-after-kill")
			require.NoError(b, s.Close())
			if info, err := os.Stat(filepath.Join(p.folder, "state.db")); err == nil {
				b.ReportMetric(float64(info.Size())/1e6, "MB")
			}
		}
	})
}

// start opens and reads what a daemon reads at its start.
func start(b *testing.B, p place) *state.Store {
	s := p.open(b)
	alarms, err := s.Alarms(ctx)
	require.NoError(b, err)
	require.Len(b, alarms, 5000)
	_, err = s.Evidence(ctx)
	require.NoError(b, err)
	baselines, err := s.Baselines(ctx)
	require.NoError(b, err)
	require.Len(b, baselines, 100_000)
	return s
}
